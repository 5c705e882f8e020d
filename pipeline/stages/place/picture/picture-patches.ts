/** Whether the patches of a picture, each by itself, find the place that the whole of it was given. */
import type { FittedPicture } from './refine-picture.ts';

export interface PicturePatch {
  /** Middle of the patch, pixels of the grid. */
  readonly column: number;
  readonly row: number;
  /** From where the map puts the patch to where it matches best, pixels, x to the right and y down; null at the rim of what was looked at. */
  readonly shiftPx: readonly [number, number] | null;
  /** Correlation where the map puts it. */
  readonly here: number;
  /** Best correlation in reach. */
  readonly best: number;
}

/** Patches across the longer side. */
const ACROSS = 6;
/** How far a patch may wander, pixels. */
const REACH = 6;
/** A patch with less of the fit's variance than this share of the mean has nothing to find. */
const ENOUGH = 0.3;

/** Patches with enough drawn in them. */
export function measurePatches({ grid, seen, model, weight }: FittedPicture): PicturePatch[] {
  const { width_px: width, height_px: height } = grid;
  const side = Math.floor(Math.max(width, height) / ACROSS);
  const all: (PicturePatch & { energy: number })[] = [];
  for (let top = 0; top + side <= height; top += side) {
    for (let left = 0; left + side <= width; left += side) {
      if (!isWhole(weight, width, left, top, side)) continue;
      const values = new Float64Array((2 * REACH + 1) ** 2);
      let energy = 0;
      for (let v = -REACH; v <= REACH; v++) {
        for (let u = -REACH; u <= REACH; u++) {
          const c = correlationAt(seen, model, width, height, left, top, side, u, v);
          values[(v + REACH) * (2 * REACH + 1) + u + REACH] = c.value;
          if (u === 0 && v === 0) energy = c.energy;
        }
      }
      const here = values[REACH * (2 * REACH + 1) + REACH]!;
      const best = values.indexOf(values.reduce((m, v) => Math.max(m, v), -1));
      all.push({
        ...{ column: left + side / 2, row: top + side / 2, here, best: values[best]!, energy },
        shiftPx: peakAt(values, best),
      });
    }
  }
  const mean = all.reduce((sum, p) => sum + p.energy, 0) / Math.max(1, all.length);
  return all.filter((p) => p.energy > 0 && p.energy >= ENOUGH * mean);
}

function isWhole(weight: Float32Array, width: number, left: number, top: number, side: number): boolean {
  for (const [u, v] of [
    [0, 0],
    [side - 1, 0],
    [0, side - 1],
    [side - 1, side - 1],
  ] as const)
    if (weight[(top + v) * width + left + u] === 0) return false;
  return true;
}

/** Correlation of a patch of the picture with the fit shifted by (u, v). */
function correlationAt(
  seen: Float32Array,
  model: Float32Array,
  width: number,
  height: number,
  left: number,
  top: number,
  side: number,
  u: number,
  v: number,
): { value: number; energy: number } {
  let [ab, aa, bb, a, b, n] = [0, 0, 0, 0, 0, 0];
  for (let row = top; row < top + side; row++) {
    const other = row + v;
    if (other < 0 || other >= height) continue;
    for (let column = left; column < left + side; column++) {
      const shifted = column + u;
      if (shifted < 0 || shifted >= width) continue;
      const p = seen[row * width + column]!;
      const q = model[other * width + shifted]!;
      ab += p * q;
      aa += p * p;
      bb += q * q;
      a += p;
      b += q;
      n++;
    }
  }
  const energy = bb - (b * b) / Math.max(1, n);
  const power = (aa - (a * a) / Math.max(1, n)) * energy;
  return { value: power > 0 ? (ab - (a * b) / n) / Math.sqrt(power) : 0, energy: energy / Math.max(1, n) };
}

/** Peak by a parabola each way. */
function peakAt(values: Float64Array, index: number): readonly [number, number] | null {
  const size = 2 * REACH + 1;
  const [u, v] = [index % size, Math.floor(index / size)];
  if (u === 0 || v === 0 || u === size - 1 || v === size - 1) return null;
  const vertex = (low: number, middle: number, high: number): number => {
    const bend = low - 2 * middle + high;
    return bend < 0 ? (low - high) / (2 * bend) : 0;
  };
  const at = (du: number, dv: number): number => values[(v + dv) * size + u + du]!;
  return [
    u - REACH + vertex(at(-1, 0), at(0, 0), at(1, 0)),
    v - REACH + vertex(at(0, -1), at(0, 0), at(0, 1)),
  ];
}
