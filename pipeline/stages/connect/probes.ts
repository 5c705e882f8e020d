/** Places where the image can say whether the drawing's connections are there: along wires, in gaps, at vias. */
import { type Box, growBox } from '../../../shared/polygon.ts';
import { trapezoidsOf } from '../../kernels/trapezoids.ts';
import { isRectangle, ringOf, type ShapeStore, shapeBox, shapesMeeting } from './collect-shapes.ts';
import type { DrawnNets } from './connect-drawing.ts';

export interface Probe {
  readonly kind: 'open' | 'bridge' | 'missing-via';
  readonly layer: number;
  /** In database units; the metal, or the gap, that is looked at. */
  readonly box: Box;
  /** Nets it speaks of: one, or for a gap the two beside it. */
  readonly nets: readonly number[];
}

/** Metal wider than this loses its middle in a laminogram: only its edges would speak. */
const WIDEST_PX = 14;
/** What is narrower than this is lost in the blur. */
const NARROWEST_PX = 1.5;
/** Least stretch of wire or gap that a probe looks at. */
const STRETCH_PX = 4;

/** @param pixel database units per pixel */
export function probesOf(drawn: DrawnNets, layer: number, pixel: number): Probe[] {
  const { store } = drawn;
  const found: Probe[] = [];
  for (let n = store.layerStarts[layer]!; n < store.layerStarts[layer + 1]!; n++) {
    if (store.layers[layer]!.role === 'via') {
      const box = shapeBox(store, n);
      if (fits(box, pixel)) found.push({ kind: 'missing-via', layer, box, nets: [drawn.netOf[n]!] });
      continue;
    }
    for (const box of bars(store, n)) found.push(...alongWire(drawn, layer, n, box, pixel));
    found.push(...inGaps(drawn, layer, n, pixel));
  }
  return found;
}

const fits = ([x0, y0, x1, y1]: Box, pixel: number): boolean =>
  Math.min(x1 - x0, y1 - y0) >= NARROWEST_PX * pixel && Math.max(x1 - x0, y1 - y0) <= WIDEST_PX * pixel;

/** Upright rectangles of a shape; a slanting one gives none. */
function bars(store: ShapeStore, n: number): Box[] {
  if (isRectangle(store, n)) return [shapeBox(store, n)];
  return trapezoidsOf(ringOf(store, n)).flatMap((t): Box[] =>
    t.left0 === t.left1 && t.right0 === t.right1 ? [[t.left0, t.y0, t.right0, t.y1]] : [],
  );
}

function alongWire(drawn: DrawnNets, layer: number, n: number, box: Box, pixel: number): Probe[] {
  const axis = box[2] - box[0] >= box[3] - box[1] ? 0 : 1;
  const width = box[3 - axis]! - box[1 - axis]!;
  const stretch = Math.max(width, STRETCH_PX * pixel);
  const length = box[axis + 2]! - box[axis]!;
  if (width < NARROWEST_PX * pixel || width > WIDEST_PX * pixel || length < 2 * stretch) return [];
  return steps(box[axis]!, box[axis + 2]!, stretch).map((from) => {
    const part: [number, number, number, number] = [...box];
    part[axis] = from;
    part[axis + 2] = from + stretch;
    return { kind: 'open', layer, box: part, nets: [drawn.netOf[n]!] };
  });
}

/** Starts of stretches that cover a length with half of each shared with the next. */
function steps(from: number, to: number, stretch: number): number[] {
  const count = Math.max(1, Math.floor((to - from - stretch) / (stretch / 2)) + 1);
  const step = count > 1 ? (to - from - stretch) / (count - 1) : 0;
  return Array.from({ length: count }, (_, n) => from + n * step);
}

function inGaps(drawn: DrawnNets, layer: number, n: number, pixel: number): Probe[] {
  const { store, netOf } = drawn;
  const own = shapeBox(store, n);
  if (!isRectangle(store, n)) return [];
  return shapesMeeting(store, layer, growBox(own, WIDEST_PX * pixel)).flatMap((other): Probe[] => {
    if (other <= n || netOf[other] === netOf[n] || !isRectangle(store, other)) return [];
    const gap = gapBetween(own, shapeBox(store, other));
    if (!gap) return [];
    const { box, axis } = gap;
    const width = box[axis + 2]! - box[axis]!;
    const stretch = Math.max(STRETCH_PX * pixel, Math.min(width, WIDEST_PX * pixel));
    const along = 1 - axis;
    if (width < NARROWEST_PX * pixel || width > WIDEST_PX * pixel) return [];
    if (box[along + 2]! - box[along]! < stretch) return [];
    return steps(box[along]!, box[along + 2]!, stretch).flatMap((from): Probe[] => {
      const part: [number, number, number, number] = [...box];
      part[along] = from;
      part[along + 2] = from + stretch;
      const between = shapesMeeting(store, layer, growBox(part, -1)).length > 0;
      return between ? [] : [{ kind: 'bridge', layer, box: part, nets: [netOf[n]!, netOf[other]!] }];
    });
  });
}

/** The rectangle between two that face each other, and the axis along which it parts them. */
function gapBetween(a: Box, b: Box): { box: Box; axis: 0 | 1 } | null {
  for (const axis of [0, 1] as const) {
    const along = 1 - axis;
    const from = Math.max(a[along]!, b[along]!);
    const to = Math.min(a[along + 2]!, b[along + 2]!);
    const low = Math.min(a[axis + 2]!, b[axis + 2]!);
    const high = Math.max(a[axis]!, b[axis]!);
    if (to <= from || high <= low) continue;
    return axis === 0 ? { box: [low, from, high, to], axis } : { box: [from, low, to, high], axis };
  }
  return null;
}
