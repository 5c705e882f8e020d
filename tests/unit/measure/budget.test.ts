import { describe, expect, it } from 'vitest';
import { fitPitch } from '../../../shared/profile/pitch.ts';
import {
  combine,
  coverageFactor,
  ofMean,
  ofMedian,
  rectangular,
} from '../../../shared/uncertainty/budget.ts';
import { gaussian } from '../../fixtures/drawn-raster.ts';
import { generator } from '../../fixtures/random.ts';

describe('uncertainty budgets', () => {
  it('combine the worked case of a length: 100 px known to half a pixel, of 20 nm each with u = 0.1 nm', () => {
    // JCGM 100:2008 4.3.7 (rectangular) and 5.1.2 (sum of squares), worked by hand:
    // sqrt((20 x 0.288675)^2 + (100 x 0.1)^2) = 11.547 nm, U(k = 2) = 23.094 nm.
    const { u } = combine([
      { name: 'reading', kind: 'B', u: 20 * rectangular(0.5), dof: null, how: '' },
      { name: 'pixel', kind: 'B', u: 100 * 0.1, dof: null, how: '' },
    ]);
    expect(rectangular(0.5)).toBeCloseTo(0.288675, 6);
    expect(u).toBeCloseTo(11.547, 3);
    expect(2 * u).toBeCloseTo(23.094, 3);
  });

  it('count degrees of freedom as Welch and Satterthwaite do', () => {
    // G.4.1 by hand: (1 + 4)^2 / (1 / 4 + 16 / 9) = 12.33.
    const { dof } = combine([
      { name: 'a', kind: 'A', u: 1, dof: 4, how: '' },
      { name: 'b', kind: 'A', u: 2, dof: 9, how: '' },
    ]);
    expect(dof).toBe(12);
    expect(combine([{ name: 'b', kind: 'B', u: 1, dof: null, how: '' }]).dof).toBeNull();
  });

  it('take coverage factors from the t table of JCGM 100:2008, table G.2 (95 %)', () => {
    const table: [number, number][] = [
      [1, 12.71],
      [2, 4.3],
      [3, 3.18],
      [4, 2.78],
      [5, 2.57],
      [10, 2.23],
      [20, 2.09],
      [50, 2.01],
      [100, 1.984],
    ];
    for (const [dof, t] of table) expect(Math.abs(coverageFactor(dof) - t), `${dof}`).toBeLessThan(0.006);
    expect(coverageFactor(null)).toBeCloseTo(1.96, 3);
  });

  it('state the scatter of means and medians as seeded trials show it', () => {
    const noise = gaussian(4);
    const means: number[] = [];
    const medians: number[] = [];
    for (let t = 0; t < 3000; t++) {
      const values = Float64Array.from({ length: 41 }, noise).sort();
      medians.push(values[20]!);
      means.push(values.reduce((a, b) => a + b, 0) / 41);
    }
    const sd = (v: number[]) => Math.sqrt(v.reduce((s, x) => s + x * x, 0) / v.length);
    expect(sd(means) / ofMean(1, 41)).toBeCloseTo(1, 1);
    expect(sd(medians) / ofMedian(1, 41)).toBeCloseTo(1, 1);
  });
});

describe('pitch', () => {
  it('is the slope of the middles, and states its scatter', () => {
    expect(fitPitch([3, 8, 13, 18], 0.1)).toMatchObject({ pitchPx: 5, periods: 3, unevenPx: 0 });
    // Two middles: difference, uncertainty sqrt 2 times one; four: sqrt(1 / 5) by hand.
    expect(fitPitch([0, 7], 0.1)!.noisePx).toBeCloseTo(0.1 * Math.SQRT2, 12);
    expect(fitPitch([0, 7, 14, 21], 0.1)!.noisePx).toBeCloseTo(0.1 / Math.sqrt(5), 12);
    expect(fitPitch([4], 0.1)).toBeNull();
    const random = generator(8);
    const noise = gaussian(5);
    let squares = 0;
    let stated = 0;
    for (let t = 0; t < 2000; t++) {
      const pitch = 5 + 10 * random();
      const fit = fitPitch(
        Array.from({ length: 5 }, (_, n) => n * pitch + 0.2 * noise()),
        0.2,
      )!;
      squares += (fit.pitchPx - pitch) ** 2;
      stated = fit.noisePx;
    }
    expect(Math.sqrt(squares / 2000) / stated).toBeCloseTo(1, 1);
  });
});
