/** Blur, high-pass and least squares, against sums written out. */
import { describe, expect, it } from 'vitest';
import { blurPlane } from '../../../pipeline/kernels/gaussian-plane.ts';
import { HighPass } from '../../../pipeline/kernels/high-pass.ts';
import { inverseCovariance } from '../../../pipeline/kernels/interpolation-filter.ts';
import { normalEquations, solveNormal } from '../../../pipeline/kernels/least-squares.ts';
import { generator } from '../../fixtures/random.ts';

describe('blurPlane', () => {
  it.each([0.7, 1.5, 3.7, 6.6, 12])('keeps the sum and has the variance asked for, sigma %f', (sigma) => {
    const side = 161;
    const impulse = new Float32Array(side * side);
    impulse[80 * side + 80] = 1;
    const out = blurPlane(impulse, side, side, sigma);
    let [sum, xx, yy] = [0, 0, 0];
    out.forEach((v, n) => {
      sum += v;
      xx += v * ((n % side) - 80) ** 2;
      yy += v * (Math.floor(n / side) - 80) ** 2;
    });
    expect(sum).toBeCloseTo(1, 3);
    // Taps are cut at 3.6 deviations, and the coarse raster of a wide blur is off by up to half a step.
    for (const v of [xx, yy]) expect(Math.sqrt(v)).toBeCloseTo(sigma, sigma < 4 ? 1 : 0);
  });

  it('agrees with the sum over all pairs of pixels', () => {
    const random = generator(5);
    const [w, h, sigma] = [17, 13, 1.3];
    const image = Float32Array.from({ length: w * h }, () => random());
    const out = blurPlane(image, w, h, sigma);
    const reach = Math.ceil(3.6 * sigma);
    let norm = 0;
    for (let d = -reach; d <= reach; d++) norm += Math.exp(-(d * d) / (2 * sigma * sigma));
    for (const n of [0, 20, 110, w * h - 1]) {
      let sum = 0;
      for (let m = 0; m < w * h; m++) {
        const dx = (m % w) - (n % w);
        const dy = Math.floor(m / w) - Math.floor(n / w);
        if (Math.abs(dx) > reach || Math.abs(dy) > reach) continue;
        sum += (image[m]! * Math.exp(-(dx * dx + dy * dy) / (2 * sigma * sigma))) / (norm * norm);
      }
      expect(out[n]).toBeCloseTo(sum, 5);
    }
  });
});

describe('HighPass', () => {
  it('takes a constant and, well inside, a slope away, with data or without around it', () => {
    const [w, h] = [90, 80];
    const mask = Uint8Array.from({ length: w * h }, (_, n) =>
      Math.hypot((n % w) - 45, Math.floor(n / w) - 40) < 35 ? 1 : 0,
    );
    const flat = Float32Array.from(mask, (v) => (v ? 700 : Number.NaN));
    const out = new HighPass(mask, w, h, 6).apply(flat);
    for (const v of out) expect(Math.abs(v)).toBeLessThan(1e-2);
    const slope = Float32Array.from({ length: w * h }, (_, n) => n % w);
    expect(Math.abs(new HighPass(mask, w, h, 6).apply(slope)[40 * w + 45]!)).toBeLessThan(1e-2);
  });
});

describe('least squares', () => {
  it('recovers the coefficients of a sum without noise, over the rows that count', () => {
    const random = generator(9);
    const columns = [0, 1, 2].map(() => Float64Array.from({ length: 300 }, () => random() - 0.5));
    const target = Float64Array.from({ length: 300 }, (_, n) =>
      n % 10 === 0 ? 1e6 : 2 * columns[0]![n]! - 3 * columns[1]![n]! + 0.5 * columns[2]![n]!,
    );
    const weights = Float64Array.from({ length: 300 }, (_, n) => (n % 10 === 0 ? 0 : 1));
    const { values } = solveNormal(normalEquations(columns, target, weights), [0, 0, 0]);
    [2, -3, 0.5].forEach((v, k) => expect(values[k]).toBeCloseTo(v, 9));
  });
});

describe('inverseCovariance', () => {
  it('finds white noise to be white, with its variance and the floor that is added', () => {
    const random = generator(2);
    const [w, h] = [200, 200];
    const field = Float32Array.from(
      { length: w * h },
      () => 5 * (random() + random() + random() + random() - 2) * Math.sqrt(3),
    );
    const { taps, innovation } = inverseCovariance(field, new Uint8Array(w * h).fill(1), w, h, random);
    expect(innovation).toBeCloseTo(5 * Math.sqrt(1.1), 0);
    const centre = (taps.length - 1) / 2;
    taps.forEach((v, n) => {
      if (n !== centre) expect(Math.abs(v / taps[centre]!)).toBeLessThan(0.05);
    });
  });
});
