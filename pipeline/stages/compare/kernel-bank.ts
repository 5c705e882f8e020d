/** The blurs that a layer's image is put together from. */
import { blurPlane } from '../../kernels/gaussian-plane.ts';
import type { HighPass } from '../../kernels/high-pass.ts';

/**
 * Standard deviations in pixels. A sum of Gaussians with coefficients of either sign reproduces any smooth round
 * kernel, so neither the point spread nor the halos of the missing cone are assumed, only that they are round.
 */
export const BANK_PX = [0.7, 1.2, 2.1, 3.7, 6.6, 12] as const;

/** Slower than this is drift. */
export const SLOW_PX = 26;

/** Calls back with what tells each blur of a raster, high-passed, at a pixel of the mask; it holds until the next. */
export function eachSampledBlur(
  raster: Float32Array,
  width: number,
  height: number,
  highPass: HighPass,
  take: (at: (pixel: number) => number) => void,
): void {
  const scratch = new Float32Array(raster.length);
  for (const sigma of BANK_PX) take(highPass.sampler(blurPlane(raster, width, height, sigma, scratch)));
}

/** A sum of blurs: one coefficient per entry of the bank. */
export type BankKernel = ArrayLike<number>;

/** Adds the blurs of a raster, weighted, without a high-pass. */
export function applyKernel(
  kernel: BankKernel,
  raster: Float32Array,
  width: number,
  height: number,
  out: Float32Array = new Float32Array(raster.length),
): Float32Array {
  out.fill(0);
  const scratch = new Float32Array(raster.length);
  BANK_PX.forEach((sigma, index) => {
    const weight = kernel[index]!;
    if (weight === 0) return;
    blurPlane(raster, width, height, sigma, scratch);
    for (let n = 0; n < out.length; n++) out[n]! += weight * scratch[n]!;
  });
  return out;
}

/** Value of a kernel at a distance from its centre, per pixel of area. */
export function kernelAt(kernel: BankKernel, distancePx: number): number {
  let sum = 0;
  BANK_PX.forEach((sigma, index) => {
    const variance = sigma * sigma;
    sum +=
      (kernel[index]! * Math.exp(-(distancePx * distancePx) / (2 * variance))) / (2 * Math.PI * variance);
  });
  return sum;
}
