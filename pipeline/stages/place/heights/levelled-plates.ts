/** Plates for measuring: coarser than those that are published, levelled by the placement, one height after another. */

import { type Affine3, invert3 } from '../../../../shared/affine.ts';
import type { PlateGrid } from '../../../../shared/frames.ts';
import type { Displacement } from '../../../kernels/warp-on-grid.ts';

/** The slices of a scan, as the measuring asks for them: rising numbers, each once or a few times. */
export interface ScanSlices {
  readonly nx: number;
  readonly ny: number;
  readonly nz: number;
  /** Values of slice k, row by row. */
  readonly slice: (k: number) => ArrayLike<number> | Promise<ArrayLike<number>>;
  /** 1 where a column of voxels holds data; null where all do. */
  readonly mask: Uint8Array | null;
  readonly brokenSlices: readonly number[];
}

/** A grid over the same field with pixels `factor` times as large. */
export function coarseGrid(grid: PlateGrid, factor: number): PlateGrid {
  const pixel = grid.pixel_um * factor;
  const shift = (pixel - grid.pixel_um) / 2;
  return {
    origin_um: [grid.origin_um[0] + shift, grid.origin_um[1] - shift],
    pixel_um: pixel,
    width_px: Math.max(1, Math.floor(grid.width_px / factor)),
    height_px: Math.max(1, Math.floor(grid.height_px / factor)),
  };
}

interface Reduced {
  readonly width: number;
  readonly height: number;
  readonly values: Float32Array;
}

/** Means over factor x factor voxels; NaN where any of them holds no data. */
function reduce(scan: ScanSlices, slice: ArrayLike<number>, factor: number): Reduced {
  const width = Math.floor(scan.nx / factor);
  const height = Math.floor(scan.ny / factor);
  const values = new Float32Array(width * height);
  const share = 1 / (factor * factor);
  for (let row = 0; row < height; row++)
    for (let column = 0; column < width; column++) {
      let sum = 0;
      for (let dj = 0; dj < factor; dj++) {
        const base = (row * factor + dj) * scan.nx + column * factor;
        for (let di = 0; di < factor; di++) {
          sum += scan.mask && scan.mask[base + di] === 0 ? Number.NaN : slice[base + di]!;
        }
      }
      values[row * width + column] = sum * share;
    }
  return { width, height, values };
}

/**
 * Visits the heights in the order of the slices they lie in. Interpolation is linear along all three axes: the slices
 * are averaged over factor x factor voxels first, so that nothing finer is left for a better kernel to keep.
 * @param visit values at one height, row 0 at the largest Y, NaN where there are none; the array is used again
 */
export async function visitLevelled(
  scan: ScanSlices,
  voxelToDieUm: Affine3,
  bend: Displacement | null,
  grid: PlateGrid,
  factor: number,
  zUm: readonly number[],
  visit: (index: number, values: Float32Array) => void,
): Promise<void> {
  const inverse = invert3(voxelToDieUm);
  const rising = voxelToDieUm[2][2] >= 0;
  const order = zUm.map((_, n) => n).sort((a, b) => (rising ? 1 : -1) * (zUm[a]! - zUm[b]!));
  const broken = new Set(scan.brokenSlices);
  const held = new Map<number, Reduced | null>();
  const values = new Float32Array(grid.width_px * grid.height_px);
  for (const index of order) {
    const [first, end] = reach(inverse, bend, grid, zUm[index]!, scan.nz);
    for (const k of held.keys()) if (k < first) held.delete(k);
    for (let k = first; k < end; k++)
      if (!held.has(k)) held.set(k, broken.has(k) ? null : reduce(scan, await scan.slice(k), factor));
    sample(scan, inverse, bend, grid, factor, zUm[index]!, held, values);
    visit(index, values);
  }
}

/** Slices that a height draws on, half open. */
function reach(
  inverse: Affine3,
  bend: Displacement | null,
  grid: PlateGrid,
  z: number,
  nz: number,
): [number, number] {
  let [low, high] = [Infinity, -Infinity];
  const lift = bend ? bend.z.reduce((most, v) => Math.max(most, Math.abs(v)), 0) : 0;
  for (const column of [0, grid.width_px - 1])
    for (const row of [0, grid.height_px - 1])
      for (const dz of lift > 0 ? [-lift, lift] : [0]) {
        const x = grid.origin_um[0] + column * grid.pixel_um;
        const y = grid.origin_um[1] - row * grid.pixel_um;
        const k = inverse[2][0] * x + inverse[2][1] * y + inverse[2][2] * (z + dz) + inverse[2][3];
        low = Math.min(low, k);
        high = Math.max(high, k);
      }
  return [Math.max(0, Math.floor(low) - 1), Math.min(nz, Math.floor(high) + 3)];
}

function sample(
  scan: ScanSlices,
  inverse: Affine3,
  bend: Displacement | null,
  grid: PlateGrid,
  factor: number,
  z: number,
  held: ReadonlyMap<number, Reduced | null>,
  out: Float32Array,
): void {
  const [[a, b, c, tx], [d, e, f, ty], [g, h, q, tz]] = inverse;
  const { nz } = scan;
  const width = Math.floor(scan.nx / factor);
  const height = Math.floor(scan.ny / factor);
  const centre = (factor - 1) / 2;
  const scale = 1 / factor;
  const planes: (Float32Array | null)[] = Array.from({ length: nz }, () => null);
  for (const [k, reduced] of held) planes[k] = reduced?.values ?? null;
  for (let row = 0; row < grid.height_px; row++) {
    const y0 = grid.origin_um[1] - row * grid.pixel_um;
    let at = row * grid.width_px;
    for (let column = 0; column < grid.width_px; column++, at++) {
      let x = grid.origin_um[0] + column * grid.pixel_um;
      let y = y0;
      let height0 = z;
      if (bend) {
        x -= bend.x[at]!;
        y -= bend.y[at]!;
        height0 -= bend.z[at]!;
      }
      const u = (a * x + b * y + c * height0 + tx - centre) * scale;
      const v = (d * x + e * y + f * height0 + ty - centre) * scale;
      const k = g * x + h * y + q * height0 + tz;
      const ui = Math.floor(u);
      const vi = Math.floor(v);
      if (!(ui >= 0 && vi >= 0 && ui < width - 1 && vi < height - 1 && k >= -0.5 && k <= nz - 0.5)) {
        out[at] = Number.NaN;
        continue;
      }
      const kk = Math.min(nz - 1, Math.max(0, k));
      let k0 = Math.floor(kk);
      if (k0 === nz - 1 && k0 > 0) k0--;
      const share = kk - k0;
      const at2 = vi * width + ui;
      const du = u - ui;
      const dv = v - vi;
      const w00 = (1 - du) * (1 - dv);
      const w01 = du * (1 - dv);
      const w10 = (1 - du) * dv;
      const w11 = du * dv;
      const low = planes[k0] ?? null;
      const high = planes[k0 + 1] ?? null;
      const take = (p: Float32Array): number =>
        p[at2]! * w00 + p[at2 + 1]! * w01 + p[at2 + width]! * w10 + p[at2 + width + 1]! * w11;
      // A broken slice is bridged by its good neighbour; where both are broken nothing is known.
      if (low && high) out[at] = take(low) * (1 - share) + take(high) * share;
      else if (low) out[at] = take(low);
      else if (high) out[at] = take(high);
      else out[at] = Number.NaN;
    }
  }
}
