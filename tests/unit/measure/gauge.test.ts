/** Paths drawn by hand, against the closed form of a Gaussian-blurred line and against the build's own fit. */
import { describe, expect, it } from 'vitest';
import { fitSite } from '../../../pipeline/stages/measure/fit-site.ts';
import { meanProfile, sampleBand } from '../../../shared/profile/band.ts';
import { findEdges } from '../../../shared/profile/find-edges.ts';
import { type GaugedLine, gaugeLine, gaugePitch } from '../../../shared/profile/gauge.ts';
import { cubic } from '../../../shared/profile/sampler.ts';
import { gaussian, lineRaster, normalTable } from '../../fixtures/drawn-raster.ts';
import { generator } from '../../fixtures/random.ts';

const SIZE = 97;

interface Trial {
  readonly widthPx: number;
  readonly blurPx: number;
  readonly noise: number;
  readonly known: boolean;
  readonly contrast?: number;
}

/** A line at any angle, and a path across it as a hand draws one: up to 12 degrees askew, ends anywhere. */
function drawn(trial: Trial, seed: number) {
  const random = generator(seed);
  const angle = random() * 2 * Math.PI;
  const centre: [number, number] = [48 + random(), 48 + random()];
  const raster = lineRaster({ ...trial, size: SIZE, centre, angle, contrast: trial.contrast ?? 60, seed });
  const askew = angle + ((random() - 0.5) * 24 * Math.PI) / 180;
  const at = (along: number): [number, number] => [
    centre[0] + along * Math.cos(askew) + (random() - 0.5) * 2,
    centre[1] + along * Math.sin(askew) + (random() - 0.5) * 2,
  ];
  const reach = trial.widthPx / 2 + 10;
  return {
    sample: cubic(raster),
    request: {
      ...{ from: at(-reach - 3 * random()), to: at(reach + 3 * random()), widthPx: 13, leastNoise: 0.29 },
      blur: trial.known ? { sdPx: trial.blurPx, uncertaintyPx: 0 } : null,
    },
  };
}

const gauged = (trial: Trial, count: number): GaugedLine[] =>
  Array.from({ length: count }, (_, n) => {
    const { sample, request } = drawn(trial, 7000 + 131 * n + Math.round(10 * trial.widthPx));
    const found = gaugeLine(sample, request, (trial.contrast ?? 60) > 0 ? 'bright' : 'dark');
    return found.kind === 'gauged' ? [found] : [];
  }).flat();

describe('a width on a path drawn by hand', () => {
  it('is that of the closed form within 0.02 px without noise, however askew the path is drawn', () => {
    for (const [widthPx, blurPx, known, contrast] of [
      [5, 0.9, true, 60],
      [8, 1.1, true, -60],
      [12.4, 0.9, false, 60],
      [20, 1.4, false, 60],
    ] as const) {
      const found = gauged({ widthPx, blurPx, noise: 0, known, contrast }, 10);
      expect(found.length).toBe(10);
      for (const { fit, askew } of found) {
        expect(Math.abs(fit.widthPx - widthPx), `${widthPx}`).toBeLessThan(0.02);
        expect(Math.abs(askew)).toBeLessThan(0.004);
      }
    }
  });

  it('states how far noise moves it: 93 to 97 % of 95 % intervals hold the true width, at a contrast of 5', {
    timeout: 60_000,
  }, () => {
    let held = 0;
    let all = 0;
    for (const [widthPx, blurPx] of [
      [6, 0.9],
      [11, 0.9],
    ] as const) {
      const found = gauged({ widthPx, blurPx, noise: 12, known: true }, 250);
      expect(found.length).toBeGreaterThan(243);
      const errors = found.map((one) => one.fit.widthPx - widthPx);
      const mean = errors.reduce((a, b) => a + b, 0) / errors.length;
      expect(Math.abs(mean)).toBeLessThan(0.05);
      held += found.filter((one, n) => Math.abs(errors[n]!) < 1.96 * one.fit.uncertaintyPx).length;
      all += found.length;
    }
    // 500 trials: two standard deviations of the count are 2 %.
    expect(held / all).toBeGreaterThan(0.93);
    expect(held / all).toBeLessThan(0.97);
  });

  it('says what is missing where there is no such span', () => {
    const { sample, request } = drawn({ widthPx: 9, blurPx: 1, noise: 0, known: true }, 5);
    expect(gaugeLine(sample, request, 'dark')).toMatchObject({
      reason: 'no two edges with a dark span between them were found on this path',
    });
    const inside = { ...request, to: [48.5, 48.5] as const };
    expect(gaugeLine(sample, inside, 'bright')).toMatchObject({
      reason: 'only one edge was found on this path; draw it across both',
    });
    const beyond = { ...request, from: [-5, 40] as const };
    expect(gaugeLine(sample, beyond, 'bright')).toMatchObject({
      reason: 'the image holds no data all along this path',
    });
  });

  it('is the width that the build finds on the same profile, to 0.01 px', () => {
    for (const noise of [0, 4, 12]) {
      for (let seed = 0; seed < 10; seed++) {
        // From the sixth on about nine blurs, where edges begin to be fitted apart.
        const widthPx = seed < 2 ? 6 + 0.3 * seed : seed < 6 ? 9 + 0.7 * seed : 8.06 + 0.02 * (seed - 6);
        const centre: [number, number] = [48.3, 48.1];
        const raster = lineRaster({
          ...{ size: SIZE, centre, angle: 0, widthPx, blurPx: 0.9, contrast: 60, noise, seed: seed + 1 },
        });
        const sample = cubic(raster);
        const [from, to] = [
          [20, 48],
          [76, 48],
        ] as const;
        const blur = { sdPx: 0.9, uncertaintyPx: 0 };
        const found = gaugeLine(sample, { from, to, widthPx: 9, blur, leastNoise: 0.29 }, 'bright');
        if (found.kind === 'refused') throw new Error(found.reason);
        const { path, fit } = found;
        // The build lays the same path, knowing only where the drawing has its edges: here a tenth of a pixel off.
        const start = path.from;
        const length = Math.hypot(path.to[0] - start[0], path.to[1] - start[1]);
        const drawnLeft = fit.leftPx + 0.1;
        const profile = meanProfile(sampleBand(sample, path.from, path.to, 9));
        const built = fitSite(
          profile,
          {
            ...{ startUm: [0, 0], direction: [1, 0], lengthPx: length, own: 0 },
            drawnPx: [[drawnLeft, drawnLeft + fit.widthPx - 0.2]],
          } as unknown as Parameters<typeof fitSite>[1],
          { blur, noise: path.noise, shiftPx: [0, 0] },
        );
        expect(Math.abs(built.line!.widthPx - fit.widthPx), `noise ${noise}, seed ${seed}`).toBeLessThan(
          0.01,
        );
      }
    }
  });
});

describe('a pitch on a path drawn by hand', () => {
  const grating = (pitchPx: number, noise: number, seed: number) => {
    const random = gaussian(seed);
    const values = new Float64Array(SIZE * SIZE);
    const angle = 0.3;
    for (let r = 0; r < SIZE; r++)
      for (let c = 0; c < SIZE; c++) {
        const d = (c - 10) * Math.cos(angle) + (r - 40) * Math.sin(angle);
        let v = 100;
        for (let n = 0; n < 5; n++) {
          const middle = 8 + n * pitchPx;
          v += 60 * (normalTable((d - middle + 3) / 0.9) - normalTable((d - middle - 3) / 0.9));
        }
        values[r * SIZE + c] = v + noise * random();
      }
    return cubic({ values, width: SIZE, height: SIZE });
  };
  const request = {
    ...{ from: [10.4, 40.2] as const, to: [77, 58.2] as const, widthPx: 9, leastNoise: 0.29 },
    blur: { sdPx: 0.9, uncertaintyPx: 0 },
  };

  it('is that of a grating over four periods, askew as it was drawn', () => {
    const found = gaugePitch(grating(13.37, 0, 1), request);
    if (found.kind === 'refused') throw new Error(found.reason);
    expect(found.fit.periods).toBe(4);
    // Cut through the last line, the same path has one period less.
    const shorter = gaugePitch(grating(13.37, 0, 1), { ...request, to: [71.5, 56.6] });
    expect(shorter).toMatchObject({ fit: { periods: 3 } });
    expect(Math.abs(found.fit.pitchPx - 13.37)).toBeLessThan(0.02);
  });

  it('refuses a single line, with the reason', () => {
    expect(gaugePitch(grating(300, 0, 1), request)).toMatchObject({
      reason: expect.stringContaining('fewer than two lines'),
    });
  });
});

describe('edges of which nothing is known', () => {
  it('are found at half height, and noise far below their height makes none', () => {
    const raster = lineRaster({
      ...{ size: SIZE, centre: [48, 48], angle: 0, widthPx: 14, blurPx: 1, contrast: 60, noise: 5, seed: 3 },
    });
    const profile = meanProfile(sampleBand(cubic(raster), [20, 48], [76, 48], 9))!;
    const edges = findEdges(profile);
    expect(edges.map((edge) => edge.sense)).toEqual([1, -1]);
    // Half height of a blurred edge stays where the edge is: 48 +- 7, counted from column 20.
    expect(Math.abs(edges[0]!.atPx - 21)).toBeLessThan(0.5);
    expect(Math.abs(edges[1]!.atPx - 35)).toBeLessThan(0.5);
  });
});
