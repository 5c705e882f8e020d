/**
 * What an image is beyond its model, after the slow changes of contrast and the slow distortion of the field that no
 * single fit can hold: per block of the field, contrast and displacement by least squares, smoothed over the blocks.
 */
import { blurPlane } from '../../kernels/gaussian-plane.ts';
import { solveNormal } from '../../kernels/least-squares.ts';
import type { Canvas } from './canvas.ts';

const BLOCK_PX = 16;
/** Neighbourhood of the local fit: far wider than any finding. */
const SPREAD_BLOCKS = 5;
/** Standard deviations that contrast and displacement (pixels) are expected to have about their means. */
const CONTRAST_SD = 0.15;
const SHIFT_SD_PX = 0.4;
/** Neighbouring pixels do not tell independently: how many of them count as one. */
const CORRELATED_PX = 8;
/** Products: M M, M X, M Y, X X, X Y, Y Y, and each of M, X, Y with the residual. */
const PRODUCTS = 9;

/** @returns image minus the locally fitted model, 0 outside the mask */
export function localResidual(
  image: Float32Array,
  model: Float32Array,
  canvas: Canvas,
  noise: number,
): Float32Array {
  const { width, height, mask } = canvas;
  const [w, h] = [Math.ceil(width / BLOCK_PX), Math.ceil(height / BLOCK_PX)];
  const sums = Array.from({ length: PRODUCTS }, () => new Float32Array(w * h));
  const [mm, mx, my, xx, xy, yy, mr, xr, yr] = sums;
  const limit = 4 * noise;
  for (let y = 1; y < height - 1; y++)
    for (let x = 1; x < width - 1; x++) {
      const n = y * width + x;
      if (mask[n] === 0) continue;
      const m = model[n]!;
      const dx = (model[n + 1]! - model[n - 1]!) / 2;
      const dy = (model[n + width]! - model[n - width]!) / 2;
      // Clipped: a finding must not bend the field around itself.
      const r = Math.min(Math.max(image[n]! - m, -limit), limit);
      const at = Math.floor(y / BLOCK_PX) * w + Math.floor(x / BLOCK_PX);
      mm![at]! += m * m;
      mx![at]! += m * dx;
      my![at]! += m * dy;
      xx![at]! += dx * dx;
      xy![at]! += dx * dy;
      yy![at]! += dy * dy;
      mr![at]! += m * r;
      xr![at]! += dx * r;
      yr![at]! += dy * r;
    }
  for (const sum of sums) blurPlane(sum, w, h, SPREAD_BLOCKS, sum);
  const fields = solveBlocks(sums, w * h, noise);
  const out = new Float32Array(image.length);
  const lines = fields.map(() => new Float64Array(w + 1));
  const [contrast, alongX, alongY] = lines as [Float64Array, Float64Array, Float64Array];
  for (let y = 1; y < height - 1; y++) {
    const v = Math.min(Math.max((y + 0.5) / BLOCK_PX - 0.5, 0), h - 1);
    const upper = Math.min(Math.floor(v), Math.max(0, h - 2));
    const q = v - upper;
    const lower = h > 1 ? w : 0;
    lines.forEach((line, k) => {
      const field = fields[k]!;
      for (let b = 0, n = upper * w; b < w; b++, n++) line[b] = field[n]! * (1 - q) + field[n + lower]! * q;
      line[w] = line[w - 1]!;
    });
    for (let x = 1; x < width - 1; x++) {
      const n = y * width + x;
      if (mask[n] === 0) continue;
      const u = Math.min(Math.max((x + 0.5) / BLOCK_PX - 0.5, 0), w - 1);
      const left = Math.floor(u);
      const p = u - left;
      const dx = (model[n + 1]! - model[n - 1]!) / 2;
      const dy = (model[n + width]! - model[n - width]!) / 2;
      out[n] =
        image[n]! -
        model[n]! * (1 + contrast[left]! * (1 - p) + contrast[left + 1]! * p) -
        dx * (alongX[left]! * (1 - p) + alongX[left + 1]! * p) -
        dy * (alongY[left]! * (1 - p) + alongY[left + 1]! * p);
    }
  }
  return out;
}

/** Contrast beyond 1, and the factors of the two slopes, for every block. */
function solveBlocks(sums: readonly Float32Array[], blocks: number, noise: number): Float64Array[] {
  const fields = [0, 1, 2].map(() => new Float64Array(blocks));
  // The blur took means over the neighbourhood; the sums over it are wanted.
  const area = 2 * Math.PI * SPREAD_BLOCKS * SPREAD_BLOCKS;
  const scale = area / (CORRELATED_PX * noise * noise);
  const ridge = [1 / CONTRAST_SD ** 2, 1 / SHIFT_SD_PX ** 2, 1 / SHIFT_SD_PX ** 2];
  for (let b = 0; b < blocks; b++) {
    const [mm, mx, my, xx, xy, yy, mr, xr, yr] = sums.map((s) => s[b]! * scale) as number[];
    const matrix = [mm!, mx!, my!, mr!, mx!, xx!, xy!, xr!, my!, xy!, yy!, yr!, 0, 0, 0, 0];
    const { values } = solveNormal({ unknowns: 3, sums: Float64Array.from(matrix), weight: 1 }, ridge);
    fields.forEach((field, k) => {
      field[b] = values[k]!;
    });
  }
  return fields;
}
