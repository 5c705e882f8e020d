/** Oracle for products of spectra: the circular convolution of two complex pictures, summed term by term. */
import { describe, expect, it } from 'vitest';
import { SquareFft } from '../../pipeline/kernels/fft.ts';
import { SquareSpectra } from '../../pipeline/kernels/square-spectra.ts';
import { generator } from '../fixtures/random.ts';

/** @source (f * g)(r, c) = sum over y, x of f(y, x) g(r - y, c - x), indices modulo the side. */
function convolved(a: Float32Array, b: Float32Array, side: number): Float64Array {
  const out = new Float64Array(2 * side * side);
  for (let r = 0; r < side; r++)
    for (let c = 0; c < side; c++)
      for (let y = 0; y < side; y++)
        for (let x = 0; x < side; x++) {
          const p = 2 * (y * side + x);
          const q = 2 * (((r - y + side) % side) * side + ((c - x + side) % side));
          out[2 * (r * side + c)]! += a[p]! * b[q]! - a[p + 1]! * b[q + 1]!;
          out[2 * (r * side + c) + 1]! += a[p]! * b[q + 1]! + a[p + 1]! * b[q]!;
        }
  return out;
}

const noise = (count: number, seed: number): Float32Array => {
  const next = generator(seed);
  return Float32Array.from({ length: count }, () => next() - 0.5);
};

const farthest = (a: ArrayLike<number>, b: ArrayLike<number>): number => {
  let most = 0;
  for (let n = 0; n < a.length; n++) most = Math.max(most, Math.abs(a[n]! - b[n]!));
  return most;
};

describe('products of spectra', () => {
  it.each([16, 32])('of side %d are the convolution', async (side) => {
    const spectra = await SquareSpectra.open(side);
    const [a, b, sum] = [spectra.slot(), spectra.slot(), spectra.slot()];
    const [first, second] = [noise(2 * side * side, side), noise(2 * side * side, side + 1)];
    spectra.pairs(a).set(first);
    spectra.pairs(b).set(second);
    spectra.pairs(sum).fill(0);
    spectra.forward(a);
    spectra.forward(b);
    spectra.multiplyAdd(a, b, sum, 1 / (side * side));
    spectra.inverse(sum);
    expect(farthest(spectra.pairs(sum), convolved(first, second, side))).toBeLessThan(1e-4);
    spectra.close();
  });

  it('add up, and agree with the plain transform at a size that is used', async () => {
    const side = 256;
    const spectra = await SquareSpectra.open(side);
    const plain = new SquareFft(side);
    const slots = [spectra.slot(), spectra.slot(), spectra.slot(), spectra.slot()] as const;
    const pictures = slots.map((_, n) => noise(2 * side * side, 77 + n));
    slots.forEach((slot, n) => {
      spectra.pairs(slot).set(pictures[n]!);
      spectra.forward(slot);
    });
    const sum = spectra.slot();
    spectra.pairs(sum).fill(0);
    spectra.multiplyAdd(slots[0], slots[1], sum, 1 / side ** 2);
    spectra.multiplyAdd(slots[2], slots[3], sum, 1 / side ** 2);
    spectra.inverse(sum);
    const spectrum = (values: Float32Array) => {
      const picture = plain.blank();
      for (let p = 0; p < side * side; p++) {
        picture.re[p] = values[2 * p]!;
        picture.im[p] = values[2 * p + 1]!;
      }
      plain.forward(picture);
      return picture;
    };
    const [a, b, c, d] = pictures.map(spectrum) as [
      ReturnType<typeof spectrum>,
      ReturnType<typeof spectrum>,
      ReturnType<typeof spectrum>,
      ReturnType<typeof spectrum>,
    ];
    const both = plain.blank();
    for (let p = 0; p < side * side; p++) {
      both.re[p] = a.re[p]! * b.re[p]! - a.im[p]! * b.im[p]! + c.re[p]! * d.re[p]! - c.im[p]! * d.im[p]!;
      both.im[p] = a.re[p]! * b.im[p]! + a.im[p]! * b.re[p]! + c.re[p]! * d.im[p]! + c.im[p]! * d.re[p]!;
    }
    plain.inverse(both);
    const pairs = new Float64Array(2 * side * side);
    for (let p = 0; p < side * side; p++) {
      pairs[2 * p] = both.re[p]!;
      pairs[2 * p + 1] = both.im[p]!;
    }
    expect(farthest(spectra.pairs(sum), pairs)).toBeLessThan(2e-3);
    spectra.close();
  });

  it('refuse a side that is no power of two', async () => {
    await expect(SquareSpectra.open(48)).rejects.toThrow(/power of two from 16 to 8192, not 48/);
  });
});
