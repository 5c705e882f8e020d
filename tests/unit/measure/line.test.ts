import { describe, expect, it } from 'vitest';
import { meanProfile, sampleBand } from '../../../shared/profile/band.ts';
import { type LineFit, measureLine } from '../../../shared/profile/line.ts';
import { addNoise, emptyNoiseSums, noiseModel } from '../../../shared/profile/noise.ts';
import { erf, normalCdf, TEN_TO_NINETY } from '../../../shared/profile/normal.ts';
import { bilinear, cubic } from '../../../shared/profile/sampler.ts';
import { lineRaster, normalByQuadrature } from '../../fixtures/drawn-raster.ts';
import { generator } from '../../fixtures/random.ts';

interface Trial {
  readonly widthPx: number;
  readonly blurPx: number;
  readonly noise: number;
  readonly knownBlur: boolean;
}

/** One line at a random angle and offset, measured as a reader would who knows it to half a pixel. */
function measured(trial: Trial, seed: number) {
  const random = generator(seed);
  const angle = random() * 2 * Math.PI;
  const centre: [number, number] = [40 + random(), 40 + random()];
  const raster = lineRaster({ ...trial, size: 81, centre, angle, contrast: 50, seed });
  const reach = trial.widthPx / 2 + 9;
  const at = (s: number): [number, number] => [
    centre[0] + s * Math.cos(angle),
    centre[1] + s * Math.sin(angle),
  ];
  const band = sampleBand(cubic(raster), at(-reach), at(reach), 9);
  const sums = emptyNoiseSums();
  addNoise(
    sums,
    band,
    (n) => Math.abs(Math.abs(n * band.stepPx - reach) - trial.widthPx / 2) > 2.5 * trial.blurPx,
  );
  return measureLine(meanProfile(band)!, {
    leftPx: reach - trial.widthPx / 2 + random() - 0.5,
    rightPx: reach + trial.widthPx / 2 + random() - 0.5,
    noise: noiseModel(sums) ?? { sd: 1e-6, correlation: 0.1 },
    ...(trial.knownBlur ? { blur: { sdPx: trial.blurPx, uncertaintyPx: 0 } } : {}),
  });
}

const fits = (trial: Trial, count: number): LineFit[] =>
  Array.from({ length: count }, (_, n) => measured(trial, 1000 * trial.widthPx + n)).flatMap((fit) =>
    fit.kind === 'line' ? [fit] : [],
  );

describe('line width against the closed form of a Gaussian-blurred line', () => {
  it('is within 0.01 px without noise, at any angle and offset, with and without a known blur', () => {
    for (const knownBlur of [true, false])
      for (const [widthPx, blurPx] of [
        [4, 0.8],
        [6.3, 0.9],
        [8, 1.2],
        [12.5, 1],
        [20, 1.5],
      ] as const) {
        if (!knownBlur && widthPx < 6.1 * blurPx) continue;
        const found = fits({ widthPx, blurPx, noise: 0, knownBlur }, 12);
        expect(found.length, `${widthPx} ${blurPx}`).toBe(12);
        for (const fit of found) {
          expect(Math.abs(fit.widthPx - widthPx), `${widthPx} ${blurPx} ${knownBlur}`).toBeLessThan(0.012);
          expect(Math.abs(fit.contrast / 50 - 1)).toBeLessThan(0.02);
        }
      }
  });

  it('has a bias below 0.05 px at a contrast-to-noise ratio of 5, and scatters as it states', () => {
    for (const [widthPx, blurPx] of [
      [5, 0.8],
      [9, 1.1],
      [16, 0.8],
    ] as const) {
      const found = fits({ widthPx, blurPx, noise: 10, knownBlur: true }, 160);
      expect(found.length).toBeGreaterThan(155);
      const errors = found.map((f) => f.widthPx - widthPx);
      const mean = errors.reduce((a, b) => a + b, 0) / errors.length;
      const sd = Math.sqrt(errors.reduce((s, e) => s + (e - mean) ** 2, 0) / (errors.length - 1));
      const stated = Math.sqrt(found.reduce((s, f) => s + f.noisePx ** 2, 0) / found.length);
      expect(Math.abs(mean), `bias at ${widthPx}`).toBeLessThan(0.05);
      expect(sd / stated, `scatter at ${widthPx}`).toBeGreaterThan(0.8);
      expect(sd / stated, `scatter at ${widthPx}`).toBeLessThan(1.2);
      const inside = found.filter((f) => Math.abs(f.widthPx - widthPx) < 1.96 * f.noisePx).length;
      expect(inside / found.length).toBeGreaterThan(0.9);
      expect(inside / found.length).toBeLessThan(0.99);
    }
  });

  it('refuses what the blur makes ambiguous, and what noise hides, with the reason', () => {
    const narrow = measured({ widthPx: 2, blurPx: 1.2, noise: 1, knownBlur: true }, 3);
    expect(narrow).toMatchObject({
      kind: 'refused',
      reason: expect.stringContaining('narrower than the blur'),
    });
    const unknown = measured({ widthPx: 5, blurPx: 1.2, noise: 10, knownBlur: false }, 3);
    expect(unknown).toMatchObject({ kind: 'refused', reason: expect.stringContaining('blur') });
    const faint = measured({ widthPx: 8, blurPx: 1, noise: 400, knownBlur: true }, 3);
    expect(faint.kind).toBe('refused');
  });

  it('is not moved by a sloping and bending ground', () => {
    const raster = lineRaster({
      ...{
        size: 81,
        centre: [40.3, 40],
        angle: 0,
        widthPx: 12,
        blurPx: 0.9,
        contrast: 50,
        noise: 0,
        seed: 1,
      },
    });
    for (let r = 0; r < 81; r++)
      for (let c = 0; c < 81; c++) raster.values[r * 81 + c]! += 0.8 * (c - 40) + 0.06 * (c - 40) ** 2;
    const profile = meanProfile(sampleBand(cubic(raster), [20, 40], [60, 40], 5))!;
    const noise = { sd: 1, correlation: 0.1 };
    const blur = { sdPx: 0.9, uncertaintyPx: 0 };
    const fit = measureLine(profile, { leftPx: 14, rightPx: 27, noise, blur });
    expect(fit.kind).toBe('line');
    expect(Math.abs((fit as LineFit).widthPx - 12)).toBeLessThan(0.02);
    expect(Math.abs((fit as LineFit).leftPx - 14.3)).toBeLessThan(0.02);
  });

  it('gives the same width for dark lines as for bright ones', () => {
    const scene = {
      size: 81,
      centre: [40.2, 40.4],
      angle: 0.7,
      widthPx: 7,
      blurPx: 0.9,
      noise: 3,
      seed: 9,
    } as const;
    const width = (contrast: number, invert: number) => {
      const raster = lineRaster({ ...scene, contrast });
      raster.values.forEach((v, n) => {
        raster.values[n] = invert * v;
      });
      const [ux, uy] = [Math.cos(0.7), Math.sin(0.7)];
      const profile = meanProfile(
        sampleBand(cubic(raster), [40.2 - 15 * ux, 40.4 - 15 * uy], [40.2 + 15 * ux, 40.4 + 15 * uy], 9),
      )!;
      const request = { leftPx: 11.5, rightPx: 18.5, noise: { sd: 3, correlation: 0.1 } };
      const fit = measureLine(profile, { ...request, blur: { sdPx: 0.9, uncertaintyPx: 0 } });
      return (fit as LineFit).widthPx;
    };
    expect(width(50, -1)).toBeCloseTo(width(50, 1), 6);
  });
});

describe('what the measuring arithmetic stands on', () => {
  it('the normal distribution agrees with quadrature and with the tabulated widths of a Gaussian edge', () => {
    for (let z = -6; z <= 6; z += 0.173) expect(normalCdf(z)).toBeCloseTo(normalByQuadrature(z), 6);
    for (let z = -8; z <= 8; z += 0.0937)
      expect(Math.abs(normalCdf(z) - (1 + erf(z / Math.SQRT2)) / 2)).toBeLessThan(1e-9);
    // Abramowitz and Stegun, table 7.1: erf(0.5), erf(1), erf(2).
    expect(erf(0.5)).toBeCloseTo(0.5204998778, 10);
    expect(erf(1)).toBeCloseTo(0.8427007929, 10);
    expect(erf(2)).toBeCloseTo(0.995322265, 9);
    expect(normalCdf(TEN_TO_NINETY / 2)).toBeCloseTo(0.9, 9);
  });

  it('samplers reproduce what they must: pixels at pixels, planes everywhere, NaN where a neighbour has no data', () => {
    const values = Float64Array.from({ length: 64 }, (_, n) => 3 + 2 * (n % 8) - 0.5 * Math.floor(n / 8));
    for (const sampler of [bilinear, cubic]) {
      const sample = sampler({ values, width: 8, height: 8 });
      expect(sample(3, 5)).toBeCloseTo(values[43]!, 12);
      expect(sample(2.3, 4.7)).toBeCloseTo(3 + 4.6 - 2.35, 9);
      expect(sample(-0.1, 3)).toBeNaN();
      const holed = sampler({
        values: values.map((v, n) => (n === 27 ? Number.NaN : v)),
        width: 8,
        height: 8,
      });
      expect(holed(3.5, 3.5)).toBeNaN();
      expect(holed(6.5, 6.5)).not.toBeNaN();
    }
  });
});
