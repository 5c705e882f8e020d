/** One plate out of a volume: voxels interpolated once, by cubic convolution along all three axes. */
import type { Affine3 } from '../../shared/affine.ts';
import type { Warp } from '../../shared/artefacts/placement.ts';
import type { PlateGrid } from '../../shared/frames.ts';
import { withoutWarp } from '../../shared/warp.ts';
import { type CubicShape, CubicSums, type HeldSlice } from './cubic-sums.ts';

/** A slice of voxels, row-major, in whatever number type the volume has. */
export type SliceValues = ArrayLike<number>;

export interface ResampleSource {
  readonly nx: number;
  readonly ny: number;
  readonly nz: number;
  /** Slice k; only those that `slicesNeeded` names are asked for. */
  readonly slice: (k: number) => SliceValues;
  /** 1 where a column of voxels holds data; null where all do. */
  readonly mask: Uint8Array | null;
  /** Memory that holds all slices, to be summed there by its program: several times as fast, in float32. */
  readonly sums?: CubicSums | null;
}

const PHASES = 1024;
/** Place of the weights of a whole step: there, as at 0, some are zero, and what they would weigh may be no number. */
const LAST_PHASE = 4 * PHASES;

/**
 * Weights of the four neighbours for each sub-voxel phase.
 * @source Keys, IEEE Trans. Acoust. Speech Signal Process. 29, 1153 (1981), a = -1/2.
 */
const WEIGHTS: Float64Array = (() => {
  const table = new Float64Array((PHASES + 1) * 4);
  for (let phase = 0; phase <= PHASES; phase++) {
    const t = phase / PHASES;
    table[4 * phase] = ((-t + 2) * t - 1) * t * 0.5;
    table[4 * phase + 1] = ((3 * t - 5) * t * t + 2) * 0.5;
    table[4 * phase + 2] = ((-3 * t + 4) * t + 1) * t * 0.5;
    table[4 * phase + 3] = (t - 1) * t * t * 0.5;
  }
  return table;
})();

/**
 * Memory for the slices of a volume, and the program that sums them.
 * @param slots most slices that are held at a time
 * @param width of the plates
 * @returns null where voxels of this type, or so many of them, are summed without it
 */
export const cubicSums = (volume: CubicShape, slots: number, width: number): CubicSums | null =>
  CubicSums.of(volume, slots, width, WEIGHTS);

/** Slices that a plate at one height draws on, as a half-open range clipped to the volume. */
export function slicesNeeded(
  dieToVoxel: Affine3,
  grid: PlateGrid,
  zUm: number,
  nz: number,
  warp: Warp | null = null,
): readonly [number, number] {
  const [, , [g, h, i, tz]] = dieToVoxel;
  let low = Infinity;
  let high = -Infinity;
  for (const column of [0, grid.width_px - 1]) {
    for (const row of [0, grid.height_px - 1]) {
      const x = grid.origin_um[0] + column * grid.pixel_um;
      const y = grid.origin_um[1] - row * grid.pixel_um;
      const k = g * x + h * y + i * zUm + tz;
      if (k < low) low = k;
      if (k > high) high = k;
    }
  }
  if (warp) {
    const bend = slicesOfBend(warp, g, h, i);
    low -= bend;
    high += bend;
  }
  return [Math.min(nz, Math.max(0, Math.floor(low) - 1)), Math.max(0, Math.min(nz, Math.floor(high) + 3))];
}

/** Most slices that the warp moves a point by. */
function slicesOfBend(warp: Warp, g: number, h: number, i: number): number {
  let most = 0;
  for (let n = 0; n < warp.dx_um.length; n++)
    most = Math.max(most, Math.abs(g * warp.dx_um[n]! + h * warp.dy_um[n]! + i * warp.dz_um[n]!));
  return most;
}

/**
 * Fills `out` (width x height, row 0 at the largest Y) with the volume's values at height `zUm`; NaN where the
 * volume has no data: outside its box, outside the field of view, or where a voxel is NaN.
 * @returns the number of pixels with data
 */
export function resamplePlate(
  source: ResampleSource,
  dieToVoxel: Affine3,
  grid: PlateGrid,
  zUm: number,
  out: Float32Array,
  warp: Warp | null = null,
): number {
  const [[a, b, c, tx], [d, e, f, ty], [g, h, q, tz]] = dieToVoxel;
  const pixel = grid.pixel_um;
  const [firstSlice, endSlice] = slicesNeeded(dieToVoxel, grid, zUm, source.nz, warp);
  const slices: SliceValues[] = [];
  for (let k = firstSlice; k < endSlice; k++) slices.push(source.slice(k));
  const { sums = null } = source;
  sums?.setSlices(slices as HeldSlice[], firstSlice);
  const width = grid.width_px;
  const places = sums ?? {
    i: new Float64Array(width),
    j: new Float64Array(width),
    k: new Float64Array(width),
  };
  const { i, j, k } = places;
  let filled = 0;
  for (let row = 0; row < grid.height_px; row++) {
    const y = grid.origin_um[1] - row * pixel;
    const x0 = grid.origin_um[0];
    if (warp) {
      for (let n = 0; n < width; n++) {
        const [x, py, pz] = withoutWarp(warp, x0 + n * pixel, y, zUm);
        i[n] = a * x + b * py + c * pz + tx;
        j[n] = d * x + e * py + f * pz + ty;
        k[n] = g * x + h * py + q * pz + tz;
      }
    } else {
      const [iy, iz, jy, jz, ky, kz] = [b * y, c * zUm, e * y, f * zUm, h * y, q * zUm];
      for (let n = 0; n < width; n++) {
        const x = x0 + n * pixel;
        i[n] = a * x + iy + iz + tx;
        j[n] = d * x + jy + jz + ty;
        k[n] = g * x + ky + kz + tz;
      }
    }
    const at = row * width;
    const left = sums ? sums.run(width) : width;
    if (sums) out.set(width === sums.out.length ? sums.out : sums.out.subarray(0, width), at);
    let none = 0;
    for (let m = 0; m < left; m++) {
      const n = sums ? sums.rest[m]! : m;
      const value = valueAt(source, slices, firstSlice, i[n]!, j[n]!, k[n]!);
      out[at + n] = value;
      if (Number.isNaN(value)) none++;
    }
    // Whole numbers make a number.
    if (sums?.isFloat) {
      none = 0;
      for (let n = at; n < at + width; n++) if (Number.isNaN(out[n])) none++;
    }
    filled += width - none;
  }
  return filled;
}

/** One value by the same rule wherever it lies, at the borders of the volume too; NaN where there is no data. */
function valueAt(
  source: ResampleSource,
  slices: readonly SliceValues[],
  firstSlice: number,
  i: number,
  j: number,
  k: number,
): number {
  const { nx, ny, nz, mask } = source;
  // Half a voxel beyond the outermost centres is still inside a voxel.
  if (!(i >= -0.5 && i < nx - 0.5 && j >= -0.5 && j < ny - 0.5 && k >= -0.5 && k < nz - 0.5))
    return Number.NaN;
  const i1 = Math.floor(i);
  const j1 = Math.floor(j);
  const k1 = Math.floor(k);
  if (mask && !covered(mask, nx, ny, i1, j1)) return Number.NaN;
  const wi = 4 * Math.round((i - i1) * PHASES);
  const wj = 4 * Math.round((j - j1) * PHASES);
  const wk = 4 * Math.round((k - k1) * PHASES);
  // Columns of the four neighbours, repeated at the border.
  const ia = i1 > 0 ? i1 - 1 : 0;
  const ib = Math.max(0, i1);
  const ic = i1 + 1 < nx ? i1 + 1 : nx - 1;
  const id = i1 + 2 < nx ? i1 + 2 : nx - 1;
  const wa = WEIGHTS[wi]!;
  const wb = WEIGHTS[wi + 1]!;
  const wc = WEIGHTS[wi + 2]!;
  const wd = WEIGHTS[wi + 3]!;
  let value = 0;
  const inside = i1 > 0 && i1 + 2 < nx && j1 > 0 && j1 + 2 < ny && k1 > 0 && k1 + 2 < nz;
  if (inside && wj !== 0 && wj !== LAST_PHASE && wk !== 0 && wk !== LAST_PHASE) {
    // Nearly every voxel: no border to mind, so the same sums without loops, in the same order.
    const n = (j1 - 1) * nx + i1 - 1;
    const first = k1 - 1 - firstSlice;
    const ja = WEIGHTS[wj]!;
    const jb = WEIGHTS[wj + 1]!;
    const jc = WEIGHTS[wj + 2]!;
    const jd = WEIGHTS[wj + 3]!;
    for (let dk = 0; dk < 4; dk++) {
      const s = slices[first + dk]!;
      const b = n + nx;
      const c = b + nx;
      const d = c + nx;
      value +=
        WEIGHTS[wk + dk]! *
        (ja * (wa * s[n]! + wb * s[n + 1]! + wc * s[n + 2]! + wd * s[n + 3]!) +
          jb * (wa * s[b]! + wb * s[b + 1]! + wc * s[b + 2]! + wd * s[b + 3]!) +
          jc * (wa * s[c]! + wb * s[c + 1]! + wc * s[c + 2]! + wd * s[c + 3]!) +
          jd * (wa * s[d]! + wb * s[d + 1]! + wc * s[d + 2]! + wd * s[d + 3]!));
    }
    return value;
  }
  for (let dk = 0; dk < 4; dk++) {
    const weightK = WEIGHTS[wk + dk]!;
    if (weightK === 0) continue;
    const kk = clamp(k1 - 1 + dk, nz - 1) - firstSlice;
    const slice = slices[kk]!;
    let plane = 0;
    for (let dj = 0; dj < 4; dj++) {
      const weightJ = WEIGHTS[wj + dj]!;
      if (weightJ === 0) continue;
      const base = clamp(j1 - 1 + dj, ny - 1) * nx;
      plane +=
        weightJ *
        (wa * slice[base + ia]! + wb * slice[base + ib]! + wc * slice[base + ic]! + wd * slice[base + id]!);
    }
    value += weightK * plane;
  }
  return value;
}

const clamp = (n: number, last: number): number => Math.min(last, Math.max(0, n));

/** Whether the four columns of voxels around a position hold data. */
function covered(mask: Uint8Array, nx: number, ny: number, i: number, j: number): boolean {
  const i0 = Math.max(0, i);
  const j0 = Math.max(0, j);
  const i2 = i + 1 < nx ? i + 1 : nx - 1;
  const j2 = j + 1 < ny ? j + 1 : ny - 1;
  return (mask[j0 * nx + i0]! & mask[j0 * nx + i2]! & mask[j2 * nx + i0]! & mask[j2 * nx + i2]!) === 1;
}
