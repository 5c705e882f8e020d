/**
 * Two-dimensional Fourier transforms of square complex pictures whose side is a power of two.
 * @source Cooley and Tukey, Mathematics of Computation 19, 297 (1965); X(k) = sum_n x(n) exp(-2 pi i k n / N).
 */

/** A complex picture, row by row: `re` and `im` hold side * side numbers each. */
export interface ComplexPicture {
  readonly re: Float64Array;
  readonly im: Float64Array;
}

/** Smallest power of two that is not below `n`. */
export function powerOfTwo(n: number): number {
  let side = 1;
  while (side < n) side *= 2;
  return side;
}

export class SquareFft {
  readonly side: number;
  readonly #cos: Float64Array;
  readonly #sin: Float64Array;
  readonly #reversed: Uint32Array;

  /** @throws RangeError unless `side` is a power of two from 2 to 2^15. */
  constructor(side: number) {
    if (!Number.isInteger(side) || side < 2 || side > 32768 || powerOfTwo(side) !== side)
      throw new RangeError(`A transform needs a side that is a power of two, not ${side}.`);
    this.side = side;
    this.#cos = Float64Array.from({ length: side / 2 }, (_, n) => Math.cos((2 * Math.PI * n) / side));
    this.#sin = Float64Array.from({ length: side / 2 }, (_, n) => -Math.sin((2 * Math.PI * n) / side));
    this.#reversed = new Uint32Array(side);
    const bits = Math.log2(side);
    for (let n = 0; n < side; n++) {
      let mirrored = 0;
      for (let bit = 0; bit < bits; bit++) if ((n >> bit) & 1) mirrored |= 1 << (bits - 1 - bit);
      this.#reversed[n] = mirrored;
    }
  }

  blank(): ComplexPicture {
    const count = this.side * this.side;
    return { re: new Float64Array(count), im: new Float64Array(count) };
  }

  /** Transforms in place, unscaled. */
  forward({ re, im }: ComplexPicture): void {
    for (let pass = 0; pass < 2; pass++) {
      for (let row = 0; row < this.side; row++) this.#line(re, im, row * this.side);
      transpose(re, this.side);
      transpose(im, this.side);
    }
  }

  /** Transforms back in place, divided by side * side, so that it undoes `forward`. */
  inverse({ re, im }: ComplexPicture): void {
    // Exchanging the parts before and after turns the forward transform into the backward one.
    this.forward({ re: im, im: re });
    const factor = 1 / (this.side * this.side);
    for (let n = 0; n < re.length; n++) {
      re[n] = re[n]! * factor;
      im[n] = im[n]! * factor;
    }
  }

  #line(re: Float64Array, im: Float64Array, at: number): void {
    const { side } = this;
    const reversed = this.#reversed;
    for (let n = 0; n < side; n++) {
      const other = reversed[n]!;
      if (other <= n) continue;
      const a = re[at + n]!;
      re[at + n] = re[at + other]!;
      re[at + other] = a;
      const b = im[at + n]!;
      im[at + n] = im[at + other]!;
      im[at + other] = b;
    }
    const cos = this.#cos;
    const sin = this.#sin;
    for (let half = 1; half < side; half *= 2) {
      const step = side / (2 * half);
      for (let start = at; start < at + side; start += 2 * half) {
        for (let n = 0, w = 0; n < half; n++, w += step) {
          const low = start + n;
          const high = low + half;
          const c = cos[w]!;
          const s = sin[w]!;
          const x = re[high]! * c - im[high]! * s;
          const y = re[high]! * s + im[high]! * c;
          re[high] = re[low]! - x;
          im[high] = im[low]! - y;
          re[low] = re[low]! + x;
          im[low] = im[low]! + y;
        }
      }
    }
  }
}

/** In blocks, so that a large picture does not miss the cache at every step. */
function transpose(values: Float64Array, side: number): void {
  const block = 16;
  for (let r0 = 0; r0 < side; r0 += block) {
    for (let c0 = r0; c0 < side; c0 += block) {
      const r1 = Math.min(side, r0 + block);
      const c1 = Math.min(side, c0 + block);
      for (let r = r0; r < r1; r++) {
        for (let c = c0 === r0 ? r + 1 : c0; c < c1; c++) {
          const a = values[r * side + c]!;
          values[r * side + c] = values[c * side + r]!;
          values[c * side + r] = a;
        }
      }
    }
  }
}
