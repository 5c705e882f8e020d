import { describe, expect, it } from 'vitest';
import { powerOfTwo, SquareFft } from '../../../pipeline/kernels/fft.ts';

/** The definition, term by term. @source X(k) = sum x(n) exp(-2 pi i k n / N), in both directions. */
function slow(re: Float64Array, im: Float64Array, side: number): { re: Float64Array; im: Float64Array } {
  const out = { re: new Float64Array(side * side), im: new Float64Array(side * side) };
  for (let r = 0; r < side; r++)
    for (let c = 0; c < side; c++)
      for (let y = 0; y < side; y++)
        for (let x = 0; x < side; x++) {
          const angle = (-2 * Math.PI * (r * y + c * x)) / side;
          const n = y * side + x;
          out.re[r * side + c]! += re[n]! * Math.cos(angle) - im[n]! * Math.sin(angle);
          out.im[r * side + c]! += re[n]! * Math.sin(angle) + im[n]! * Math.cos(angle);
        }
  return out;
}

function noise(count: number, seed: number): Float64Array {
  let state = seed;
  return Float64Array.from({ length: count }, () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return state / 2 ** 31 - 1;
  });
}

const farthest = (a: Float64Array, b: Float64Array): number =>
  a.reduce((most, value, n) => Math.max(most, Math.abs(value - b[n]!)), 0);

describe('square Fourier transform', () => {
  it.each([2, 4, 8, 16, 32])('gives the defining sum for side %i', (side) => {
    const re = noise(side * side, side);
    const im = noise(side * side, side + 1);
    const wanted = slow(re, im, side);
    const picture = { re: Float64Array.from(re), im: Float64Array.from(im) };
    new SquareFft(side).forward(picture);
    expect(farthest(picture.re, wanted.re)).toBeLessThan(1e-10);
    expect(farthest(picture.im, wanted.im)).toBeLessThan(1e-10);
  });

  it('is undone by the inverse', () => {
    const fft = new SquareFft(128);
    const re = noise(128 * 128, 5);
    const im = noise(128 * 128, 6);
    const picture = { re: Float64Array.from(re), im: Float64Array.from(im) };
    fft.forward(picture);
    fft.inverse(picture);
    expect(farthest(picture.re, re)).toBeLessThan(1e-12);
    expect(farthest(picture.im, im)).toBeLessThan(1e-12);
  });

  it('refuses sides that are no power of two', () => {
    for (const side of [0, 1, 3, 48, 1.5, 65536]) expect(() => new SquareFft(side)).toThrow(RangeError);
    expect(powerOfTwo(129)).toBe(256);
  });
});
