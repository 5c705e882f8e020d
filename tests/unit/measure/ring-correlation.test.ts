import { spawnSync } from 'node:child_process';
import { describe, expect, it } from 'vitest';
import {
  addRings,
  emptyRings,
  independentShare,
  ringCorrelation,
  taper,
} from '../../../pipeline/kernels/ring-correlation.ts';
import {
  crossing,
  halfBit,
  informationThreshold,
  ONE_BIT_SNR,
  ONE_SEVENTH,
} from '../../../shared/resolution-thresholds.ts';
import { gaussian } from '../../fixtures/drawn-raster.ts';

/** Two images that share `signal` and have noise of their own. */
function pair(size: number, signal: number, seed: number): [Float64Array, Float64Array] {
  const random = gaussian(seed);
  const shared = Float64Array.from({ length: size * size }, random);
  const own = () => shared.map((v) => signal * v + random());
  return [own(), own()];
}

/** The same quantity by numpy: rings of rounded radius over the half plane, Tukey taper of an eighth. */
const NUMPY = `
import sys, json, numpy as np
size, a, b = json.load(sys.stdin)
rise = max(1, round(0.125 * size))
n = np.arange(size)
end = np.minimum(n, size - 1 - n) + 0.5
w = np.where(end >= rise, 1.0, 0.5 - 0.5 * np.cos(np.pi * end / rise))
def spectrum(v):
    v = np.array(v).reshape(size, size)
    return np.fft.fft2((v - v.mean()) * np.outer(w, w))
A, B = spectrum(a), spectrum(b)
f = np.fft.fftfreq(size) * size
ring = np.floor(np.hypot(*np.meshgrid(f, f)) + 0.5).astype(int)
out = []
for r in range(1, size // 2):
    m = ring == r
    out.append(float((A[m] * B[m].conj()).sum().real / np.sqrt((abs(A[m])**2).sum() * (abs(B[m])**2).sum())))
print(json.dumps(out))
`;
const PYTHON = '/usr/bin/python3';
const hasNumpy = spawnSync(PYTHON, ['-c', 'import numpy']).status === 0;

describe('Fourier ring correlation', () => {
  it.skipIf(!hasNumpy)(
    'agrees with numpy ring by ring (skipped without the Debian package python3-numpy)',
    () => {
      for (const [size, seed] of [
        [16, 1],
        [64, 2],
      ] as const) {
        const [a, b] = pair(size, 1.2, seed);
        const sums = emptyRings(size);
        addRings(sums, a, b);
        const input = JSON.stringify([size, [...a], [...b]]);
        const expected = JSON.parse(
          spawnSync(PYTHON, ['-c', NUMPY], { input, encoding: 'utf8' }).stdout,
        ) as number[];
        const found = ringCorrelation(sums);
        expect(found.length).toBe(expected.length);
        found.forEach((v, n) => expect(v, `ring ${n + 1} of ${size}`).toBeCloseTo(expected[n]!, 9));
      }
    },
  );

  it('is 1 for equal images, and S / (S + 1) for a signal S times the noise power in each', () => {
    const [a, b] = pair(128, 1.5, 5);
    const sums = emptyRings(128);
    addRings(sums, a, a);
    for (const v of ringCorrelation(sums)) expect(v).toBeCloseTo(1, 9);
    const noisy = emptyRings(128);
    addRings(noisy, a, b);
    const outer = ringCorrelation(noisy).slice(20);
    const mean = outer.reduce((x, y) => x + y, 0) / outer.length;
    expect(Math.abs(mean - 2.25 / 3.25)).toBeLessThan(0.02);
  });

  it('scatters about zero for independent noise as the stated number of independent pixels says', () => {
    let squares = 0;
    let count = 0;
    for (let t = 0; t < 12; t++) {
      const sums = emptyRings(64);
      addRings(sums, ...pair(64, 0, 100 + t));
      ringCorrelation(sums).forEach((v, n) => {
        if (n < 6) return;
        squares += v * v * sums.samples[n + 1]! * independentShare(64);
        count++;
      });
    }
    // A complex sample holds two real ones: the variance of a real correlation of n complex samples is 1 / (2 n).
    expect(2 * (squares / count)).toBeGreaterThan(0.75);
    expect(2 * (squares / count)).toBeLessThan(1.35);
    expect(taper(64)[0]).toBeLessThan(0.05);
    expect(taper(64)[32]).toBe(1);
  });
});

describe('thresholds of agreement', () => {
  it('follow the published formula: half bit and one bit for n independent pixels', () => {
    // van Heel and Schatz, J. Struct. Biol. 151, 250 (2005), formula evaluated with its rounded constants.
    const half: [number, number][] = [
      [1, 1],
      [4, 0.699194],
      [9, 0.558645],
      [25, 0.424104],
      [50, 0.357266],
      [100, 0.30669],
      [400, 0.241584],
      [1000, 0.216449],
      [10000, 0.18599],
    ];
    for (const [n, value] of half) expect(halfBit(n), `${n}`).toBeCloseTo(value, 4);
    const one: [number, number][] = [
      [4, 0.773458],
      [100, 0.451694],
      [10000, 0.346164],
    ];
    for (const [n, value] of one) expect(informationThreshold(ONE_BIT_SNR, n)).toBeCloseTo(value, 4);
    expect(halfBit(1e12)).toBeCloseTo(0.17157, 4);
    // sqrt(2 c / (1 + c)) = 0.5 at c = 1/7.
    expect(Math.sqrt((2 * ONE_SEVENTH) / (1 + ONE_SEVENTH))).toBeCloseTo(0.5, 12);
  });

  it('are crossed where the curve first falls below, between the rings', () => {
    expect(crossing([1, 2, 3, 4], [1, 0.8, 0.2, 0.9], [0.5, 0.5, 0.5, 0.5])).toBeCloseTo(2.5, 12);
    expect(crossing([1, 2], [1, 0.9], [0.5, 0.5])).toBeNull();
  });
});
