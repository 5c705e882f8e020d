/** Smoothing with gaps: moments of the impulse response, and what a mask must not change. */
import { describe, expect, it } from 'vitest';
import { coarseBlur, maskedBlur } from '../../../pipeline/kernels/masked-blur.ts';
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

describe('coarseBlur', () => {
  it('comes near the fine one, with gaps and without', () => {
    const random = generator(5);
    for (const gaps of [0, 0.3]) {
      const picture = Float32Array.from({ length: SIDE * SIDE }, (_, n) =>
        random() < gaps ? Number.NaN : Math.sin((n % SIDE) / 17) + Math.cos(n / SIDE / 23) + 0.2 * random(),
      );
      const fine = maskedBlur(picture, SIDE, SIDE, 9);
      const coarse = coarseBlur(picture, SIDE, SIDE, 9);
      let worst = 0;
      fine.forEach((value, n) => {
        if (Number.isFinite(value)) worst = Math.max(worst, Math.abs(value - coarse[n]!));
      });
      expect(worst).toBeLessThan(0.05);
      expect(worst).toBeGreaterThan(0);
    }
  });

  it('keeps an even picture even, to the rim', () => {
    const picture = new Float32Array(50 * 37).fill(4);
    for (const value of coarseBlur(picture, 50, 37, 12)) expect(value).toBeCloseTo(4, 5);
  });
});
