/** A work volume seen in another frame: resampled onto an upright grid of pixels and heights. */
import { type Affine3, invert3 } from '../../../../shared/affine.ts';
import type { Displacement } from '../../../kernels/warp-on-grid.ts';
import type { WorkVolume } from './work-volume.ts';

/** Square pixels, row 0 at the largest y; heights rise with the index. */
export interface FrameGrid {
  readonly left: number;
  readonly top: number;
  readonly pixel: number;
  readonly width: number;
  readonly height: number;
  readonly bottom: number;
  readonly step: number;
  readonly count: number;
}

export interface FrameVolume {
  readonly grid: FrameGrid;
  /** Heights from the lowest, rows, columns; 0 where there are no data. */
  readonly values: Float32Array;
  /** 1 where the field of view reaches, at the middle height. */
  readonly weight: Float32Array;
  /** 1 for heights where the middle of the grid lies between the first slice and the last. */
  readonly inside: Uint8Array;
}

/**
 * Linear interpolation between the eight neighbours.
 * @param summed whether every height holds the sum of all up to it, below the lowest a plane of zeros: one plane more
 */
export function resampleFrame(
  work: WorkVolume,
  workToFrame: Affine3,
  grid: FrameGrid,
  bend: Displacement | null = null,
  summed = false,
): FrameVolume {
  const { nx, ny, nz } = work;
  const { width, height, count } = grid;
  const back = invert3(workToFrame);
  const planes = count + (summed ? 1 : 0);
  const values = new Float32Array(width * height * planes);
  const inside = new Uint8Array(count);
  const centreX = grid.left + ((width - 1) / 2) * grid.pixel;
  const centreY = grid.top - ((height - 1) / 2) * grid.pixel;
  const area = width * height;
  const start = new Float64Array(3);
  const step = Float64Array.from(back, (axis) => axis[0] * grid.pixel);
  for (let n = 0; n < count; n++) {
    const z = grid.bottom + n * grid.step;
    const middle = along(back[2], centreX, centreY, z);
    inside[n] = middle >= -0.5 && middle <= nz - 0.5 ? 1 : 0;
    const from = (n + planes - count) * area;
    if (summed) values.copyWithin(from, from - area, from);
    for (let row = 0; row < height; row++) {
      for (let axis = 0; axis < 3; axis++)
        start[axis] = along(back[axis]!, grid.left, grid.top - row * grid.pixel, z);
      const at = from + row * width;
      if (bend) addBentRow(work, back, start, step, bend, row * width, values, at, width);
      else addRow(work, start, step, values, at, width);
    }
  }
  const weight = new Float32Array(area);
  const middleZ = grid.bottom + (count >> 1) * grid.step;
  for (let row = 0; row < height; row++) {
    const y = grid.top - row * grid.pixel;
    for (let column = 0; column < width; column++) {
      const p = row * width + column;
      const x = grid.left + column * grid.pixel;
      let [i, j] = [along(back[0], x, y, middleZ), along(back[1], x, y, middleZ)];
      if (bend) {
        i -= turned(back[0], bend, p);
        j -= turned(back[1], bend, p);
      }
      if (i >= 0 && j >= 0 && i < nx - 1 && j < ny - 1)
        weight[p] = work.weight[Math.trunc(j) * nx + Math.trunc(i)]!;
    }
  }
  return { grid, values, weight, inside };
}

const along = (row: Affine3[number], x: number, y: number, z: number): number =>
  row[0] * x + row[1] * y + row[2] * z + row[3];
const turned = (row: Affine3[number], by: Displacement, p: number): number =>
  row[0] * by.x[p]! + row[1] * by.y[p]! + row[2] * by.z[p]!;

/**
 * Adds what of a row lies in the volume: one stretch of it, which is found first, so that the loop need not ask.
 * @param start voxel of the first pixel
 * @param step how far the voxel moves from one pixel to the next
 */
function addRow(
  work: WorkVolume,
  start: Float64Array,
  step: Float64Array,
  out: Float32Array,
  at: number,
  width: number,
): void {
  const { nx, ny, nz } = work;
  const [i0, j0, k0] = [start[0]!, start[1]!, start[2]!];
  const [di, dj, dk] = [step[0]!, step[1]!, step[2]!];
  let [from, to] = [0, width];
  for (let axis = 0; axis < 3; axis++) {
    const per = step[axis]!;
    const begin = start[axis]!;
    const end = (axis === 0 ? nx : axis === 1 ? ny : nz) - 1;
    // A row along which the index does not change lies in the volume as a whole or not at all.
    if (per === 0) {
      if (!(begin >= 0 && (axis === 2 ? begin <= end : begin < end))) return;
      continue;
    }
    const [low, high] = per > 0 ? [-begin / per, (end - begin) / per] : [(end - begin) / per, -begin / per];
    // One to spare on either side: rounding must not decide.
    from = Math.max(from, Math.ceil(low) - 1);
    to = Math.min(to, Math.floor(high) + 2);
  }
  while (from < to && !isInside(from)) from++;
  while (to > from && !isInside(to - 1)) to--;
  function isInside(column: number): boolean {
    const [i, j, k] = [i0 + di * column, j0 + dj * column, k0 + dk * column];
    return i >= 0 && j >= 0 && k >= 0 && i < nx - 1 && j < ny - 1 && k <= nz - 1;
  }
  for (let column = from; column < to; column++)
    out[at + column] =
      out[at + column]! + between(work, i0 + di * column, j0 + dj * column, k0 + dk * column);
}

/** The same along a row of which every pixel is moved. */
function addBentRow(
  work: WorkVolume,
  back: Affine3,
  start: Float64Array,
  step: Float64Array,
  bend: Displacement,
  from: number,
  out: Float32Array,
  at: number,
  width: number,
): void {
  const { nx, ny, nz } = work;
  for (let column = 0; column < width; column++) {
    const i = start[0]! + step[0]! * column - turned(back[0], bend, from + column);
    const j = start[1]! + step[1]! * column - turned(back[1], bend, from + column);
    const k = start[2]! + step[2]! * column - turned(back[2], bend, from + column);
    if (i >= 0 && j >= 0 && k >= 0 && i < nx - 1 && j < ny - 1 && k <= nz - 1)
      out[at + column] = out[at + column]! + between(work, i, j, k);
  }
}

/** Between the eight voxels around a place that has all of them. */
function between({ voxels, nx, ny, nz }: WorkVolume, i: number, j: number, k: number): number {
  const last = Math.min(nz - 2, k | 0);
  const q = (last * ny + (j | 0)) * nx + (i | 0);
  const r = q + nx * ny;
  const u = i - (i | 0);
  const v = j - (j | 0);
  const w = k - last;
  const a = voxels[q]!;
  const b = voxels[q + nx]!;
  const c = voxels[r]!;
  const d = voxels[r + nx]!;
  const top = a + u * (voxels[q + 1]! - a);
  const low = top + v * (b + u * (voxels[q + nx + 1]! - b) - top);
  const near = c + u * (voxels[r + 1]! - c);
  const high = near + v * (d + u * (voxels[r + nx + 1]! - d) - near);
  return low + w * (high - low);
}
