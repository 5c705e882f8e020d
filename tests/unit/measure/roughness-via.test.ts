import { describe, expect, it } from 'vitest';
import { meanProfile, sampleBand } from '../../../shared/profile/band.ts';
import { type EdgeFit, fitEdge } from '../../../shared/profile/edge.ts';
import { edgeDepartures, roughnessSample } from '../../../shared/profile/roughness.ts';
import { cubic } from '../../../shared/profile/sampler.ts';
import { measureVia, type ViaFit } from '../../../shared/profile/via.ts';
import { gaussian, normalTable } from '../../fixtures/drawn-raster.ts';

/** A vertical edge whose position waves along its length: amplitude and period in pixels. */
function wavyEdge(amplitude: number, period: number, noise: number, seed: number) {
  const random = gaussian(seed);
  const [width, height] = [48, 80];
  const values = new Float64Array(width * height);
  for (let r = 0; r < height; r++)
    for (let c = 0; c < width; c++) {
      const at = 24.3 + amplitude * Math.sin((2 * Math.PI * r) / period);
      values[r * width + c] = 100 + 50 * normalTable((c - at) / 0.9) + noise * random();
    }
  return { values, width, height };
}

function roughnessOf(raster: ReturnType<typeof wavyEdge>, noise: { sd: number; correlation: number }) {
  const band = sampleBand(cubic(raster), [6, 39.5], [42, 39.5], 64);
  const request = { first: 20, last: 52, nearPx: 18.3, blur: { sdPx: 0.9, uncertaintyPx: 0 }, noise };
  const fit = fitEdge(meanProfile(band)!, request) as EdgeFit;
  expect(fit.kind).toBe('edge');
  const departures = edgeDepartures(band, fit);
  return { departures, sample: roughnessSample(departures, [fit.response], noise, band.stepPx, 1)! };
}

describe('roughness', () => {
  it('of a sine of amplitude a is a / sqrt 2', () => {
    for (const amplitude of [0.1, 0.25]) {
      const { departures, sample } = roughnessOf(wavyEdge(amplitude, 16, 0, 1), {
        sd: 1e-9,
        correlation: 0.1,
      });
      expect(Math.max(...departures) / amplitude).toBeCloseTo(1, 1);
      expect(Math.sqrt(sample.seen) / (amplitude / Math.SQRT2)).toBeCloseTo(1, 1);
      expect(sample.noise).toBeLessThan(1e-9);
    }
  });

  it('of a straight edge is what noise explains', () => {
    let seen = 0;
    let noise = 0;
    // White noise between pixels: neighbours a pixel apart are nearly independent after cubic convolution.
    for (let seed = 0; seed < 40; seed++) {
      const { sample } = roughnessOf(wavyEdge(0, 16, 8, 50 + seed), { sd: 8, correlation: 0.05 });
      seen += sample.seen;
      noise += sample.noise;
    }
    expect(seen / noise).toBeGreaterThan(0.8);
    expect(seen / noise).toBeLessThan(1.2);
  });
});

describe('via size', () => {
  const via = (w: number, h: number, noise: number, seed: number) => {
    const random = gaussian(seed);
    const size = 64;
    const values = new Float64Array(size * size);
    const shape = (d: number, s: number) => normalTable((d + s / 2) / 0.85) - normalTable((d - s / 2) / 0.85);
    for (let r = 0; r < size; r++)
      for (let c = 0; c < size; c++)
        values[r * size + c] = 80 + 60 * shape(c - 31.7, w) * shape(r - 32.2, h) + noise * random();
    return measureVia(cubic({ values, width: size, height: size }), {
      ...{ centre: [32.1, 31.8], widthPx: w, heightPx: h, clearPx: 14 },
      blur: { sdPx: 0.85, uncertaintyPx: 0 },
      noise: { sd: noise || 1e-6, correlation: 0.1 },
    });
  };

  it('of a blurred rectangle is its size in x and y, and the side of the square of equal area', () => {
    for (const [w, h] of [
      [5, 5],
      [6.4, 4.8],
      [12, 9],
    ] as const) {
      const fit = via(w, h, 0, 1) as ViaFit;
      expect(fit.kind).toBe('via');
      expect(Math.abs(fit.x.widthPx - w)).toBeLessThan(0.02);
      expect(Math.abs(fit.y.widthPx - h)).toBeLessThan(0.02);
      expect(Math.abs(fit.sidePx - Math.sqrt(w * h))).toBeLessThan(0.06);
      expect(fit.centre[0]).toBeCloseTo(31.7, 1);
      expect(fit.centre[1]).toBeCloseTo(32.2, 1);
    }
  });

  it('has little bias at a contrast-to-noise ratio of 6, and refuses a via lost in the blur', () => {
    const found = Array.from({ length: 60 }, (_, n) => via(6, 6, 10, 300 + n)).flatMap((f) =>
      f.kind === 'via' ? [f] : [],
    );
    expect(found.length).toBeGreaterThan(55);
    const mean = (of: (f: ViaFit) => number) => found.reduce((s, f) => s + of(f), 0) / found.length;
    expect(Math.abs(mean((f) => f.x.widthPx) - 6)).toBeLessThan(0.12);
    expect(Math.abs(mean((f) => f.sidePx) - 6)).toBeLessThan(0.12);
    expect(via(1.5, 1.5, 1, 2).kind).toBe('refused');
  });
});
