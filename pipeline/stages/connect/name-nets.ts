/** Names of nets from the labels that lie on them. */
import type { Box } from '../../../shared/polygon.ts';
import { windingNumber } from '../../../shared/polygon.ts';
import { type FlatLabel, labelsInWindow } from '../../formats/layout/flatten.ts';
import type { DrawnLayer, Layout } from '../../formats/layout.ts';
import { isRectangle, ringOf, type ShapeStore, shapeBox, shapesMeeting } from './collect-shapes.ts';
import { type LabelReach, labelReaches } from './naming-cells.ts';
import { isHidden, type Withheld } from './withheld.ts';

export interface PlacedLabel {
  readonly text: string;
  readonly net: number;
  readonly layer: number;
  /** Anchor in database units. */
  readonly at: readonly [number, number];
}

export interface NetNaming {
  readonly name: string;
  readonly names: readonly string[];
  readonly from: 'label' | 'cell-label' | 'place';
}

export interface Naming {
  readonly nets: readonly NetNaming[];
  /** Labels of the top cell that lie on a net. */
  readonly labels: readonly PlacedLabel[];
  readonly doubts: readonly string[];
}

/**
 * Names every net. A label names the net of the shape under its anchor, on the highest layer that lists the label's
 * drawn layer and has metal there.
 *
 * Only labels that speak for the chip name a net as such (see `labelReaches`). A net without one is called after a label
 * of a cell inside it: "store/word_line" where that cell occurs once, with the place of the label where there are
 * others like it ("inv_1/Y@12.34,5.6"); else after its first shape ("metal1@12.34,5.6").
 */
export function nameNets(
  layout: Layout,
  top: string,
  store: ShapeStore,
  netOf: Int32Array,
  members: readonly Uint32Array[],
  windowUm: Box,
  withheld: Withheld = {},
): Naming {
  const drawn = new Set(store.layers.flatMap((layer) => layer.labels));
  const reaches = labelReaches(layout, top);
  const placed: PlacedLabel[] = [];
  const missed = new Set<string>();
  for (const label of labelsInWindow(layout, top, extentUm(store, windowUm), drawn, {
    opens: (cell) => reaches.get(cell) === 'top' && (withheld.opens?.(cell) ?? true),
  })) {
    if (isHidden(withheld, [label.xUm, label.yUm, label.xUm, label.yUm])) continue;
    const hit = shapeUnder(store, label);
    if (hit) placed.push({ text: label.text, net: netOf[hit.shape]!, layer: hit.layer, at: hit.at });
    else if (inside(windowUm, label)) missed.add(label.text);
  }
  const votes = new Map<number, Map<string, number>>();
  for (const { net, text } of placed) {
    const counts = votes.get(net) ?? new Map<string, number>();
    counts.set(text, (counts.get(text) ?? 0) + 1);
    votes.set(net, counts);
  }
  const second = cellLabels(layout, top, store, netOf, windowUm, drawn, reaches, withheld, votes);
  const nets = members.map((shapes, net): NetNaming => {
    const counts = votes.get(net);
    if (counts) {
      const names = [...counts].sort((a, b) => b[1] - a[1] || (a[0] < b[0] ? -1 : 1)).map(([text]) => text);
      return { name: names[0]!, names, from: 'label' };
    }
    const inner = second.get(net);
    if (inner) return { name: inner, names: [], from: 'cell-label' };
    return { name: placeName(store, shapes), names: [], from: 'place' };
  });
  return { nets, labels: placed, doubts: namingDoubts(nets, missed) };
}

/** The first label of a cell inside for every net that has no label of the top cell. */
function cellLabels(
  layout: Layout,
  top: string,
  store: ShapeStore,
  netOf: Int32Array,
  windowUm: Box,
  drawn: ReadonlySet<DrawnLayer>,
  reaches: ReadonlyMap<string, LabelReach>,
  withheld: Withheld,
  named: ReadonlyMap<number, unknown>,
): Map<number, string> {
  const best = new Map<number, FlatLabel>();
  const options = withheld.opens ? { opens: withheld.opens } : {};
  for (const label of labelsInWindow(layout, top, windowUm, drawn, options)) {
    if (reaches.get(label.cellPath.at(-1)!) === 'top') continue;
    if (isHidden(withheld, [label.xUm, label.yUm, label.xUm, label.yUm])) continue;
    const hit = shapeUnder(store, label);
    if (!hit) continue;
    const net = netOf[hit.shape]!;
    const known = best.get(net);
    if (!named.has(net) && (!known || outerFirst(label, known) < 0)) best.set(net, label);
  }
  return new Map(
    [...best].map(([net, label]) => {
      const cell = label.cellPath.at(-1)!;
      const where = reaches.get(cell) === 'once' ? '' : `@${place(label.xUm, label.yUm)}`;
      return [net, `${cell}/${label.text}${where}`];
    }),
  );
}

const outerFirst = (a: FlatLabel, b: FlatLabel): number =>
  a.cellPath.length - b.cellPath.length || a.yUm - b.yUm || a.xUm - b.xUm || (a.text < b.text ? -1 : 1);

const place = (xUm: number, yUm: number): string => `${Number(xUm.toFixed(3))},${Number(yUm.toFixed(3))}`;

function placeName(store: ShapeStore, shapes: Uint32Array): string {
  const shape = shapes.find((n) => !store.hidden[n]);
  if (shape === undefined) return 'withheld';
  const [x0, y0] = shapeBox(store, shape);
  const layer = store.layers.findLast((_, n) => store.layerStarts[n]! <= shape)!;
  return `${layer.name}@${place(x0 * store.unitUm, y0 * store.unitUm)}`;
}

function shapeUnder(
  store: ShapeStore,
  label: FlatLabel,
): { shape: number; layer: number; at: [number, number] } | null {
  const x = label.xUm / store.unitUm;
  const y = label.yUm / store.unitUm;
  // A thousandth of a database unit: micrometres are rounded.
  const near: Box = [x - 1e-3, y - 1e-3, x + 1e-3, y + 1e-3];
  for (let layer = store.layers.length - 1; layer >= 0; layer--) {
    if (!store.layers[layer]!.labels.includes(label.drawn)) continue;
    for (const shape of shapesMeeting(store, layer, near)) {
      if (isRectangle(store, shape) || holds(ringOf(store, shape), x, y)) {
        return { shape, layer, at: [Math.round(x), Math.round(y)] };
      }
    }
  }
  return null;
}

/** Inside or on the edge of a ring. */
function holds(ring: ArrayLike<number>, x: number, y: number): boolean {
  if (windingNumber(ring, x, y) !== 0) return true;
  for (let n = 0, m = ring.length - 2; n < ring.length; m = n, n += 2) {
    const [ax, ay, bx, by] = [ring[m]!, ring[m + 1]!, ring[n]!, ring[n + 1]!];
    const length = Math.hypot(bx - ax, by - ay);
    const off = Math.abs((bx - ax) * (y - ay) - (by - ay) * (x - ax)) / length;
    const along = ((bx - ax) * (x - ax) + (by - ay) * (y - ay)) / length;
    if (off < 1e-3 && along > -1e-3 && along < length + 1e-3) return true;
  }
  return false;
}

const inside = (box: Box, label: FlatLabel): boolean =>
  label.xUm >= box[0] && label.xUm <= box[2] && label.yUm >= box[1] && label.yUm <= box[3];

/** The window and all shapes that reach out of it: a wire may carry its label beyond the window. */
function extentUm(store: ShapeStore, windowUm: Box): Box {
  let [x0, y0, x1, y1] = windowUm;
  for (let n = 0; n < store.count; n++) {
    const box = shapeBox(store, n);
    x0 = Math.min(x0, box[0] * store.unitUm);
    y0 = Math.min(y0, box[1] * store.unitUm);
    x1 = Math.max(x1, box[2] * store.unitUm);
    y1 = Math.max(y1, box[3] * store.unitUm);
  }
  return [x0, y0, x1, y1];
}

const SHOWN = 5;

function namingDoubts(nets: readonly NetNaming[], missed: ReadonlySet<string>): string[] {
  const doubts: string[] = [];
  const several = nets.filter((net) => net.names.length > 1);
  if (several.length > 0) {
    const shown = several.slice(0, SHOWN).map((net) => net.names.slice(0, SHOWN).join(' = '));
    const more = several.length > SHOWN ? ` and ${several.length - SHOWN} more` : '';
    doubts.push(
      `${several.length === 1 ? 'One drawn net carries' : `${several.length} drawn nets carry`} several labels, ` +
        `the one with most votes is its name: ${shown.join('; ')}${more}.`,
    );
  }
  if (missed.size > 0) {
    const shown = [...missed].slice(0, SHOWN).join(', ');
    const more = missed.size > SHOWN ? ` and ${missed.size - SHOWN} more` : '';
    doubts.push(
      `${missed.size === 1 ? 'One label lies' : `${missed.size} labels lie`} on no drawn metal and ` +
        `${missed.size === 1 ? 'names' : 'name'} nothing: ${shown}${more}.`,
    );
  }
  return doubts;
}
