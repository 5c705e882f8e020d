/** The level, turned scan in coarse bins, each to unit spread: what the search works on. */
import type { Affine3 } from '../../../../shared/affine.ts';
import { type FrameVolume, resampleFrame } from './frame-volume.ts';
import type { WorkVolume } from './work-volume.ts';

/**
 * Averages whole blocks of fine samples, so that nothing is lost between them. Width and height come out odd: the
 * middle of the scan is the middle of a pixel.
 * @param workToFrame middle of the scan at the origin
 * @param mostAcross most pixels across and down; the middle is kept
 */
export function coarseVolume(
  work: WorkVolume,
  workToFrame: Affine3,
  pixel: number,
  step: number,
  mostAcross: number,
): FrameVolume {
  const [ax, ay] = [workToFrame[0], workToFrame[1]];
  const reach = (row: readonly number[]): number =>
    (Math.abs(row[0]!) * work.nx + Math.abs(row[1]!) * work.ny) / 2;
  const most = (mostAcross - 1) >> 1;
  const width = 2 * Math.min(most, Math.ceil(reach(ax) / pixel)) + 1;
  const height = 2 * Math.min(most, Math.ceil(reach(ay) / pixel)) + 1;
  const plane = Math.max(1, Math.round(pixel / work.voxelUm[0]));
  const deep = Math.max(1, Math.round(step / work.voxelUm[2]));
  const count = Math.max(1, Math.round((work.nz * work.voxelUm[2]) / step));
  const bottom = (-step * (count - 1)) / 2;
  const area = width * height;
  const values = new Float32Array(area * count);
  const weight = new Float32Array(area);
  const inside = new Uint8Array(count).fill(1);
  for (let n = 0; n < count; n++) {
    const fine = resampleFrame(work, workToFrame, {
      left: (-pixel * (width - 1)) / 2 - pixel / 2 + pixel / plane / 2,
      top: (pixel * (height - 1)) / 2 + pixel / 2 - pixel / plane / 2,
      pixel: pixel / plane,
      width: width * plane,
      height: height * plane,
      bottom: bottom + n * step - step / 2 + step / deep / 2,
      step: step / deep,
      count: deep,
    });
    const out = values.subarray(n * area, (n + 1) * area);
    const fineArea = area * plane * plane;
    for (let row = 0; row < height * plane; row++) {
      for (let column = 0; column < width * plane; column++) {
        const p = row * width * plane + column;
        const q = Math.floor(row / plane) * width + Math.floor(column / plane);
        for (let d = 0; d < deep; d++) out[q]! += fine.values[d * fineArea + p]!;
        if (n === 0 && fine.weight[p]! > 0) weight[q]! += 1 / (plane * plane);
      }
    }
    toUnitSpread(out, weight);
  }
  const grid = {
    ...{ left: (-pixel * (width - 1)) / 2, top: (pixel * (height - 1)) / 2, pixel, width, height },
    ...{ bottom, step, count },
  };
  return { grid, values, weight, inside };
}

function toUnitSpread(values: Float32Array, weight: Float32Array): void {
  let sum = 0;
  let squares = 0;
  let count = 0;
  for (let n = 0; n < values.length; n++) {
    if (weight[n]! <= 0.5) continue;
    sum += values[n]!;
    squares += values[n]! ** 2;
    count++;
  }
  const mean = count > 0 ? sum / count : 0;
  const spread = Math.sqrt(Math.max(0, squares / Math.max(1, count) - mean * mean));
  for (let n = 0; n < values.length; n++)
    values[n] = weight[n]! > 0.5 && spread > 1e-6 ? (values[n]! - mean) / spread : 0;
}
