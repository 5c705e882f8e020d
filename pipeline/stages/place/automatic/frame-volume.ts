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

/** Linear interpolation between the eight neighbours. */
export function resampleFrame(
  work: WorkVolume,
  workToFrame: Affine3,
  grid: FrameGrid,
  bend: Displacement | null = null,
): FrameVolume {
  const { nx, ny, nz, voxels } = work;
  const { width, height, count } = grid;
  const back = invert3(workToFrame);
  const [[ax, ay, az, at], [bx, by, bz, bt], [cx, cy, cz, ct]] = back;
  const values = new Float32Array(width * height * count);
  const weight = new Float32Array(width * height);
  const inside = new Uint8Array(count);
  const area = nx * ny;
  const centreX = grid.left + ((width - 1) / 2) * grid.pixel;
  const centreY = grid.top - ((height - 1) / 2) * grid.pixel;
  for (let n = 0; n < count; n++) {
    const z = grid.bottom + n * grid.step;
    const middle = cx * centreX + cy * centreY + cz * z + ct;
    inside[n] = middle >= -0.5 && middle <= nz - 0.5 ? 1 : 0;
    const isMiddle = n === count >> 1;
    for (let row = 0; row < height; row++) {
      let out = (n * height + row) * width;
      const y = grid.top - row * grid.pixel;
      const i0row = ax * grid.left + ay * y + az * z + at;
      const j0row = bx * grid.left + by * y + bz * z + bt;
      const k0row = cx * grid.left + cy * y + cz * z + ct;
      const [from, to] = bend
        ? [0, width]
        : columnsInside([i0row, j0row, k0row], [ax, bx, cx], [nx, ny, isMiddle ? Infinity : nz], grid);
      out += from;
      for (let column = from; column < to; column++, out++) {
        const along = column * grid.pixel;
        let i = i0row + ax * along;
        let j = j0row + bx * along;
        let k = k0row + cx * along;
        if (bend) {
          const dx = bend.x[row * width + column]!;
          const dy = bend.y[row * width + column]!;
          const dz = bend.z[row * width + column]!;
          i -= ax * dx + ay * dy + az * dz;
          j -= bx * dx + by * dy + bz * dz;
          k -= cx * dx + cy * dy + cz * dz;
        }
        if (i >= 0 && j >= 0 && i < nx - 1 && j < ny - 1) {
          const i0 = Math.trunc(i);
          const j0 = Math.trunc(j);
          const p = j0 * nx + i0;
          if (isMiddle) weight[row * width + column] = work.weight[p]!;
          if (k >= 0 && k <= nz - 1) {
            const k0 = Math.min(nz - 2, Math.trunc(k));
            const q = k0 * area + p;
            const u = i - i0;
            const v = j - j0;
            const w = k - k0;
            const low =
              (voxels[q]! * (1 - u) + voxels[q + 1]! * u) * (1 - v) +
              (voxels[q + nx]! * (1 - u) + voxels[q + nx + 1]! * u) * v;
            const r = q + area;
            const high =
              (voxels[r]! * (1 - u) + voxels[r + 1]! * u) * (1 - v) +
              (voxels[r + nx]! * (1 - u) + voxels[r + nx + 1]! * u) * v;
            values[out] = low * (1 - w) + high * w;
          }
        }
      }
    }
  }
  return { grid, values, weight, inside };
}

/** First column and the one after the last that can lie in the volume, a column to spare on either side. */
function columnsInside(
  start: readonly number[],
  perUm: readonly number[],
  size: readonly number[],
  { width, pixel }: FrameGrid,
): readonly [number, number] {
  let [from, to] = [0, width];
  for (let axis = 0; axis < 3; axis++) {
    const per = perUm[axis]! * pixel;
    const low = -start[axis]! / per;
    const high = (size[axis]! - 1 - start[axis]!) / per;
    // A row along which the index does not change lies in the volume as a whole or not at all.
    if (!Number.isFinite(low)) continue;
    from = Math.max(from, Math.floor(Math.min(low, high)) - 1);
    to = Math.min(to, Math.ceil(Math.max(low, high)) + 2);
  }
  return [from, Math.max(from, to)];
}
