/** Fourier ring correlation of two square images of the same thing. */
import { SquareFft } from './fft.ts';

export interface RingSums {
  readonly size: number;
  /** Cross power, and the power of either image, by ring (rounded radius in samples of the transform). */
  readonly cross: Float64Array;
  readonly first: Float64Array;
  readonly second: Float64Array;
  /** Samples of the half plane in each ring, over all images added. */
  readonly samples: Float64Array;
}

export const emptyRings = (size: number): RingSums => ({
  size,
  cross: new Float64Array(size / 2),
  first: new Float64Array(size / 2),
  second: new Float64Array(size / 2),
  samples: new Float64Array(size / 2),
});

/** Share of a window's side over which it rises from nothing to one. */
const TAPER = 0.125;

/** Raised-cosine taper at both ends. @source Harris, Proc. IEEE 66, 51 (1978): Tukey window. */
export function taper(size: number): Float64Array {
  const rise = Math.max(1, Math.round(TAPER * size));
  return Float64Array.from({ length: size }, (_, n) => {
    const fromEnd = Math.min(n, size - 1 - n) + 0.5;
    return fromEnd >= rise ? 1 : 0.5 - 0.5 * Math.cos((Math.PI * fromEnd) / rise);
  });
}

/** Share of the samples of a tapered image's transform that are independent: (sum w^2)^2 / (n sum w^4), both axes. */
export function independentShare(size: number): number {
  let two = 0;
  let four = 0;
  for (const w of taper(size)) {
    two += w ** 2;
    four += w ** 4;
  }
  return (two ** 2 / (size * four)) ** 2;
}

/**
 * Adds a pair of images, size x size each, a power of two, without NaN. Means are taken off, borders tapered.
 */
export function addRings(sums: RingSums, first: Float64Array, second: Float64Array): void {
  const { size } = sums;
  const window = taper(size);
  // Two real images ride in one complex transform.
  const re = prepared(first, size, window);
  const im = prepared(second, size, window);
  new SquareFft(size).forward({ re, im });
  for (let v = 0; v < size; v++) {
    const fy = v <= size / 2 ? v : v - size;
    for (let u = 0; u <= size / 2; u++) {
      // Each frequency once: half of the plane, and on its border half of the line.
      if ((u === 0 || u === size / 2) && fy < 0) continue;
      const ring = Math.round(Math.hypot(u, fy));
      if (ring === 0 || ring >= size / 2) continue;
      const at = v * size + u;
      const mirror = ((size - v) % size) * size + ((size - u) % size);
      const ar = (re[at]! + re[mirror]!) / 2;
      const ai = (im[at]! - im[mirror]!) / 2;
      const br = (im[at]! + im[mirror]!) / 2;
      const bi = (re[mirror]! - re[at]!) / 2;
      sums.cross[ring]! += ar * br + ai * bi;
      sums.first[ring]! += ar * ar + ai * ai;
      sums.second[ring]! += br * br + bi * bi;
      sums.samples[ring]!++;
    }
  }
}

/** Correlation of each ring, from ring 1 on. @source Saxton and Baumeister, J. Microsc. 127, 127 (1982). */
export function ringCorrelation(sums: RingSums): number[] {
  return Array.from({ length: sums.size / 2 - 1 }, (_, n) => {
    const power = Math.sqrt(sums.first[n + 1]! * sums.second[n + 1]!);
    return power > 0 ? sums.cross[n + 1]! / power : 0;
  });
}

function prepared(image: Float64Array, size: number, window: Float64Array): Float64Array {
  let mean = 0;
  for (const v of image) mean += v / image.length;
  return image.map((v, n) => (v - mean) * window[n % size]! * window[Math.floor(n / size)]!);
}
