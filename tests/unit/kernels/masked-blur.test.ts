/** Smoothing with gaps: moments of the impulse response, and what a mask must not change. */
import { describe, expect, it } from 'vitest';
import { maskedBlur } from '../../../pipeline/kernels/masked-blur.ts';
import { generator } from '../../fixtures/random.ts';

const SIDE = 101;

describe('maskedBlur', () => {
  it.each([0.8, 1, 1.5, 2.2, 3.2, 8, 9])('spreads a point by its standard deviation %f', (sigma) => {
    const point = new Float32Array(SIDE * SIDE);
    point[50 * SIDE + 50] = 1;
    const out = maskedBlur(point, SIDE, SIDE, sigma);
    let [sum, xx, yy, x1] = [0, 0, 0, 0];
    out.forEach((value, n) => {
      const [x, y] = [(n % SIDE) - 50, Math.floor(n / SIDE) - 50];
      sum += value;
      x1 += value * x;
      xx += value * x * x;
      yy += value * y * y;
    });
    expect(sum).toBeCloseTo(1, 5);
    expect(x1).toBeCloseTo(0, 4);
    // Running means have whole widths: the variance is met to half a step of the ladder of three of them.
    const step = ((2 * Math.ceil(sigma) + 3) ** 2 - (2 * Math.ceil(sigma) + 1) ** 2) / 24;
    expect(Math.abs(xx - sigma * sigma)).toBeLessThan(step);
    expect(xx).toBeCloseTo(yy, 4);
  });

  it('leaves an even picture even, whatever part of it is missing, and missing what is', () => {
    const random = generator(3);
    const picture = Float32Array.from({ length: SIDE * SIDE }, () => (random() < 0.4 ? Number.NaN : 7));
    const out = maskedBlur(picture, SIDE, SIDE, 3);
    picture.forEach((value, n) => {
      if (Number.isNaN(value)) expect(out[n]).toBeNaN();
      else expect(out[n]).toBeCloseTo(7, 4);
    });
  });

  it('does not let one side of a gap count for the other beyond its reach', () => {
    const row = Float32Array.from({ length: SIDE }, (_, n) => (n < 40 ? 1 : n < 60 ? Number.NaN : 5));
    const out = maskedBlur(row, SIDE, 1, 2);
    expect(out[39]).toBeCloseTo(1, 5);
    expect(out[60]).toBeCloseTo(5, 5);
  });

  it('gives back a picture that is not to be smoothed', () => {
    const picture = Float32Array.from([1, 2, Number.NaN, 4]);
    expect([...maskedBlur(picture, 2, 2, 0.3)]).toEqual([1, 2, Number.NaN, 4]);
  });
});
