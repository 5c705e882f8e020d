/** Shards: the shapes of nets, whole, a few hundred to a file. */
import type { NetEnd, NetShard } from '../../../shared/artefacts/net-lookup.ts';
import type { NetSummary } from '../../../shared/artefacts/nets.ts';
import type { Box } from '../../../shared/polygon.ts';
import { isRectangle, layerOf, ringOf, shapeBox } from './collect-shapes.ts';
import type { DrawnNets } from './connect-drawing.ts';

/** Numbers of a shard: coordinates and the like, that keep a file near 60 kB. */
const NUMBERS_PER_SHARD = 12_000;
const MOST_ENDS = 200;

/** What one shard holds: nets, or one part of a large net. */
export interface ShardPlan {
  readonly shards: readonly { readonly net: number; readonly part: number; readonly shapes: Uint32Array }[][];
  /** First shard with the shapes of a net, and how many. */
  readonly of: (net: number) => [number, number];
  readonly parts: Uint32Array;
}

/** Nets in their order, without what may not be shown; one that would not fit into a shard fills as many as it needs by itself. */
export function planShards(drawn: DrawnNets): ShardPlan {
  const shards: { net: number; part: number; shapes: Uint32Array }[][] = [];
  const first = new Uint32Array(drawn.nets.length);
  const parts = new Uint32Array(drawn.nets.length);
  let open: (typeof shards)[number] | null = null;
  let filled = 0;
  drawn.nets.forEach((all, net) => {
    const shapes = shownShapes(drawn, all.shapes);
    if (shapes.length === 0) return;
    const pieces = piecesOf(drawn, shapes);
    parts[net] = pieces.length;
    if (pieces.length > 1) {
      first[net] = shards.length;
      pieces.forEach((piece, part) => {
        shards.push([{ net, part, shapes: piece.shapes }]);
      });
      open = null;
      return;
    }
    const [piece] = pieces;
    if (!open || filled + piece!.numbers > NUMBERS_PER_SHARD) {
      open = [];
      filled = 0;
      shards.push(open);
    }
    first[net] = shards.length - 1;
    filled += piece!.numbers;
    open.push({ net, part: 0, shapes });
  });
  return { shards, parts, of: (net) => [first[net]!, parts[net]!] };
}

export const shownShapes = ({ store }: DrawnNets, shapes: Uint32Array): Uint32Array =>
  shapes.some((n) => store.hidden[n]) ? shapes.filter((n) => !store.hidden[n]) : shapes;

/** What a net takes besides its shapes. */
const OWN_NUMBERS = 30;

function piecesOf(drawn: DrawnNets, shapes: Uint32Array): { shapes: Uint32Array; numbers: number }[] {
  const { store } = drawn;
  const pieces: { shapes: Uint32Array; numbers: number }[] = [];
  let from = 0;
  let numbers = OWN_NUMBERS;
  shapes.forEach((shape, n) => {
    const own = Math.max(4, store.ringStarts[shape + 1]! - store.ringStarts[shape]!);
    if (n > from && numbers + own > NUMBERS_PER_SHARD) {
      pieces.push({ shapes: shapes.subarray(from, n), numbers });
      from = n;
      numbers = OWN_NUMBERS;
    }
    numbers += own;
  });
  pieces.push({ shapes: shapes.subarray(from), numbers });
  return pieces;
}

export function shardOf(
  drawn: DrawnNets,
  plan: ShardPlan,
  shard: number,
  summaries: readonly NetSummary[],
  endsOf: (net: number) => { ends: NetEnd[]; total: number },
): NetShard {
  const { store } = drawn;
  return {
    version: 1,
    nets: plan.shards[shard]!.map(({ net, part, shapes }) => {
      const summary = summaries[net]!;
      const { ends, total } = endsOf(net);
      const box = summary.box_um.map((v) => Math.round(v / store.unitUm)) as [number, number, number, number];
      return {
        id: summary.id,
        name: summary.name,
        names: summary.names,
        part,
        parts: plan.parts[net]!,
        box,
        length_um: summary.length_um,
        vias: summary.vias,
        leaves_field: summary.leaves_field,
        ends,
        ends_total: total,
        layers: layersOf(drawn, shapes),
      };
    }),
  };
}

function layersOf(drawn: DrawnNets, shapes: Uint32Array): NetShard['nets'][number]['layers'] {
  const { store } = drawn;
  const layers: { layer: number; shapes: number[][] }[] = [];
  for (const shape of shapes) {
    const layer = layerOf(store, shape);
    let part = layers.at(-1);
    if (part?.layer !== layer) {
      part = { layer, shapes: [] };
      layers.push(part);
    }
    part.shapes.push(
      isRectangle(store, shape) ? [...shapeBox(store, shape)] : Array.from(ringOf(store, shape)),
    );
  }
  return layers;
}

/**
 * Where nets end: shapes with at most one neighbour, shapes that reach out of the window, labels. A contact to
 * something that is no layer of the process table (the silicon) ends a net in this sense.
 */
export function netEnds(drawn: DrawnNets): (net: number) => { ends: NetEnd[]; total: number } {
  const { store, contacts } = drawn;
  const window = drawn.windowUm.map((v) => v / store.unitUm) as unknown as Box;
  const labels = new Map<number, NetEnd[]>();
  for (const { net, layer, at, text } of drawn.labels) {
    const list = labels.get(net) ?? [];
    list.push({ layer, at: [...at], kind: 'label', text });
    labels.set(net, list);
  }
  return (net) => {
    const named = labels.get(net) ?? [];
    const ends: NetEnd[] = [];
    for (const shape of shownShapes(drawn, drawn.nets[net]!.shapes)) {
      const box = shapeBox(store, shape);
      const layer = layerOf(store, shape);
      const out = leavingPoint(box, window);
      if (out) ends.push({ layer, at: out, kind: 'field' });
      else if (contacts.starts[shape + 1]! - contacts.starts[shape]! <= 1) {
        ends.push({
          layer,
          at: [Math.round((box[0] + box[2]) / 2), Math.round((box[1] + box[3]) / 2)],
          kind: 'end',
        });
      }
    }
    return {
      ends: [...spread(named, MOST_ENDS / 2), ...spread(ends, MOST_ENDS / 2)],
      total: named.length + ends.length,
    };
  };
}

/** At most `most` entries, evenly from a list. */
const spread = <T>(list: readonly T[], most: number): T[] =>
  list.length <= most
    ? [...list]
    : Array.from({ length: most }, (_, n) => list[Math.floor((n * list.length) / most)]!);

/** Middle of where a box crosses the rim of the window; null where it does not. */
function leavingPoint(box: Box, window: Box): [number, number] | null {
  const middle = (low: number, high: number, from: number, to: number): number =>
    Math.round((Math.max(low, from) + Math.min(high, to)) / 2);
  const x = middle(box[0], box[2], window[0], window[2]);
  const y = middle(box[1], box[3], window[1], window[3]);
  if (box[0] < window[0]) return [Math.ceil(window[0]), y];
  if (box[2] > window[2]) return [Math.floor(window[2]), y];
  if (box[1] < window[1]) return [x, Math.ceil(window[1])];
  if (box[3] > window[3]) return [x, Math.floor(window[3])];
  return null;
}
