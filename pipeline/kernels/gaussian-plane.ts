/** Gaussian blur of a raster, with nothing outside it: directly where narrow, on a coarser raster where wide. */

import { convolvePlane, type Taps } from './convolve-plane.ts';

/** Blurs at least this many pixels wide, per step of the coarser raster, are worked out on it. */
const DIRECT_BELOW = 4;
const REACH = 3.6;

/** Weights at -n ... n, sum 1: areas of the normal density over each pixel would be softer still; samples suffice here. */
export function gaussianTaps(sigmaPx: number): Float64Array {
  const reach = Math.max(1, Math.ceil(REACH * sigmaPx));
  const taps = new Float64Array(2 * reach + 1);
  let sum = 0;
  for (let n = -reach; n <= reach; n++) sum += taps[n + reach] = Math.exp(-(n * n) / (2 * sigmaPx * sigmaPx));
  return taps.map((v) => v / sum);
}

/** A pass down the columns and one along the rows with the same taps to both sides. */
export function separable(taps: Float64Array): readonly [Taps, Taps] {
  const reach = (taps.length - 1) / 2;
  const half = Array.from(taps.subarray(reach));
  const [middle, ...rest] = half;
  const pass = (place: (t: number) => { dx: number; dy: number }): Taps => [
    { dx: 0, dy: 0, weight: middle! },
    ...rest.map((weight, n) => ({ ...place(n + 1), weight })),
  ];
  return [pass((dy) => ({ dx: 0, dy })), pass((dx) => ({ dx, dy: 0 }))];
}

/**
 * Convolution with a Gaussian of unit sum; zero is assumed outside.
 * @param values width * height, row by row; left as it is
 * @param sigmaPx standard deviation, pixels; 0 copies
 * @returns `out`, or a new raster
 */
export function blurPlane(
  values: Float32Array,
  width: number,
  height: number,
  sigmaPx: number,
  out: Float32Array = new Float32Array(values.length),
): Float32Array {
  if (!(sigmaPx > 0)) {
    if (out !== values) out.set(values);
    return out;
  }
  if (sigmaPx < DIRECT_BELOW)
    return convolvePlane(values, width, height, separable(gaussianTaps(sigmaPx)), out);
  const wide = new WideBlur(width, height, sigmaPx);
  return wide.spread(wide.of(values), out);
}

/** A wide blur of rasters of one size, worked out on a coarser one of blocks of pixels. */
export class WideBlur {
  readonly #width: number;
  readonly #height: number;
  readonly #step: number;
  /** Size of the coarser raster, with a rim of one empty block all round. */
  readonly #w: number;
  readonly #h: number;
  readonly #taps: readonly Taps[];
  /** For every column the block to its left and how far it lies from the middle of that, in blocks. */
  readonly #left: Int32Array;
  readonly #share: Float64Array;
  readonly #line: Float64Array;
  readonly #pixels: Float64Array;
  readonly #mask: Uint8Array | null;
  /** Of every block how many of its pixels count. */
  readonly #counted: Uint16Array | null;

  /**
   * @param sigmaPx standard deviation, at least 4 pixels
   * @param mask pixels where it is 0 count as 0, whatever their values; null where all count
   */
  constructor(width: number, height: number, sigmaPx: number, mask: Uint8Array | null = null) {
    const step = 2 ** Math.floor(Math.log2(sigmaPx / 2));
    this.#width = width;
    this.#height = height;
    this.#step = step;
    this.#w = Math.ceil(width / step) + 2;
    this.#h = Math.ceil(height / step) + 2;
    // The block mean adds (step^2) / 12 to the variance, the linear interpolation (step^2) / 6.
    this.#taps = separable(gaussianTaps(Math.sqrt(sigmaPx * sigmaPx - (step * step) / 4) / step));
    this.#left = new Int32Array(width);
    this.#share = new Float64Array(width);
    for (let x = 0; x < width; x++) [this.#left[x], this.#share[x]] = this.#between(x, this.#w);
    this.#line = new Float64Array(this.#w);
    this.#pixels = new Float64Array(width);
    this.#mask = mask;
    this.#counted = mask && new Uint16Array(this.#w * this.#h);
    for (let row = 0, n = 0; mask && row < height; row++) {
      const to = (Math.floor(row / step) + 1) * this.#w + 1;
      for (let x = 0; x < width; x++, n++) if (mask[n] !== 0) this.#counted![to + Math.floor(x / step)]!++;
    }
  }

  /** Block before a pixel and the share of the one behind it. */
  #between(x: number, blocks: number): [number, number] {
    const at = (x + 0.5) / this.#step + 0.5;
    const left = Math.min(Math.floor(at), blocks - 2);
    return [left, at - left];
  }

  /** @returns the blurred blocks */
  of(values: Float32Array): Float32Array {
    const [step, width, w, counted] = [this.#step, this.#width, this.#w, this.#counted];
    const coarse = new Float32Array(w * this.#h);
    const share = 1 / (step * step);
    for (let row = 0; row < this.#height; row++) {
      let to = (Math.floor(row / step) + 1) * w + 1;
      const end = (row + 1) * width;
      for (let from = row * width; from < end; from += step, to++) {
        const count = counted ? counted[to]! : step * step;
        if (count === 0) continue;
        if (count < step * step || from + step > end) {
          coarse[to]! += share * this.#some(values, from, Math.min(from + step, end));
          continue;
        }
        let sum = 0;
        for (let n = from; n < from + step; n += 2) sum += values[n]! + values[n + 1]!;
        coarse[to]! += share * sum;
      }
    }
    return convolvePlane(coarse, w, this.#h, this.#taps, coarse);
  }

  #some(values: Float32Array, from: number, end: number): number {
    let sum = 0;
    for (let n = from; n < end; n++) if (this.#mask === null || this.#mask[n] !== 0) sum += values[n]!;
    return sum;
  }

  /** The blurred raster. */
  spread(coarse: Float32Array, out: Float32Array): Float32Array {
    for (let row = 0; row < this.#height; row++) out.set(this.#blurred(coarse, row), row * this.#width);
    return out;
  }

  /** Takes the blurred raster times a factor per pixel from another, where pixels count; elsewhere that becomes 0. */
  subtract(coarse: Float32Array, factor: Float32Array, from: Float32Array): void {
    const mask = this.#mask;
    for (let row = 0, n = 0; row < this.#height; row++) {
      const slow = this.#blurred(coarse, row);
      for (let x = 0; x < slow.length; x++, n++)
        from[n] = mask === null || mask[n] !== 0 ? from[n]! - slow[x]! * factor[n]! : 0;
    }
  }

  /** A row of pixels; used again for the next. From the middle of one block to that of the next it is a straight line. */
  #blurred(coarse: Float32Array, row: number): Float64Array {
    const [out, width, step] = [this.#pixels, this.#width, this.#step];
    const line = this.#row(coarse, row);
    for (let x = 0, c = 0; x < width; c++) {
      const slope = (line[c + 1]! - line[c]!) / step;
      let slow = line[c]! + slope * (x + 0.5 - (c - 0.5) * step);
      for (const end = this.#endOf(c); x < end; x++, slow += slope) out[x] = slow;
    }
    return out;
  }

  /** The first column past the middle of the block that follows; steps are even. */
  #endOf(block: number): number {
    const end = block + 2 < this.#w ? (block + 0.5) * this.#step : this.#width;
    return Math.min(end, this.#width);
  }

  /** Blocks in the height of a row of pixels; used again for the next. */
  #row(coarse: Float32Array, row: number): Float64Array {
    const [upper, v] = this.#between(row, this.#h);
    const [line, w] = [this.#line, this.#w];
    for (let x = 0, n = upper * w; x < w; x++, n++) line[x] = coarse[n]! * (1 - v) + coarse[n + w]! * v;
    return line;
  }

  /** The blurred raster at one pixel. */
  at(coarse: Float32Array, x: number, y: number): number {
    const [upper, v] = this.#between(y, this.#h);
    const n = upper * this.#w + this.#left[x]!;
    const share = this.#share[x]!;
    const above = coarse[n]! + (coarse[n + 1]! - coarse[n]!) * share;
    const below = coarse[n + this.#w]! + (coarse[n + this.#w + 1]! - coarse[n + this.#w]!) * share;
    return above * (1 - v) + below * v;
  }
}
