/** Exact intervals, against published worked values, closed forms and SciPy. */
import { describe, expect, it } from 'vitest';
import { clopperPearson, incompleteBeta, poissonInterval } from '../../../pipeline/kernels/rate-intervals.ts';
import { askPython, scipyNote, scipyPython } from '../../fixtures/outside-python.ts';

describe('Clopper-Pearson intervals', () => {
  it('give the worked example of the NIST/SEMATECH e-Handbook, section 7.2.4.1: 4 of 20 at 90 %', () => {
    // Values from memory of the handbook, recomputed with scipy.stats.beta.
    const { low, high } = clopperPearson(4, 20, 0.9);
    expect(low).toBeCloseTo(0.071354, 5);
    expect(high).toBeCloseTo(0.401029, 5);
  });

  it('have closed forms for none and for all', () => {
    for (const n of [1, 2, 7, 40, 1000]) {
      // (1 - p)^n = 0.025 and p^n = 0.025.
      expect(clopperPearson(0, n)).toEqual({ low: 0, high: expect.closeTo(1 - 0.025 ** (1 / n), 10) });
      expect(clopperPearson(n, n)).toEqual({ low: expect.closeTo(0.025 ** (1 / n), 10), high: 1 });
    }
    expect(clopperPearson(0, 0)).toEqual({ low: 0, high: 1 });
  });

  it('are mirrored when successes and failures change places', () => {
    for (let found = 0; found <= 13; found++) {
      const a = clopperPearson(found, 13);
      const b = clopperPearson(13 - found, 13);
      expect(a.low).toBeCloseTo(1 - b.high, 10);
    }
  });

  it('hold the true share at least as often as stated, by summing the binomial distribution', () => {
    for (const [n, p] of [
      [10, 0.5],
      [20, 0.93],
      [40, 0.02],
    ] as const) {
      let covered = 0;
      let mass = (1 - p) ** n;
      for (let k = 0; k <= n; k++) {
        const { low, high } = clopperPearson(k, n);
        if (low <= p && p <= high) covered += mass;
        mass *= ((n - k) / (k + 1)) * (p / (1 - p));
      }
      expect(covered).toBeGreaterThanOrEqual(0.95);
    }
  });

  it.skipIf(!scipyPython)(`agree with scipy.stats.beta and chi2${scipyNote}`, () => {
    const cases = [1, 3, 17, 60, 400].flatMap((n) =>
      [0, 1, n >> 1, n - 1, n].map((k) => [Math.max(0, k), n]),
    );
    const script = `
import json, sys
from scipy.stats import beta, chi2
cases = json.load(sys.stdin)
cp = [[0 if k == 0 else beta.ppf(.025, k, n - k + 1), 1 if k == n else beta.ppf(.975, k + 1, n - k)] for k, n in cases]
po = [[0 if k == 0 else chi2.ppf(.025, 2 * k) / 2, chi2.ppf(.975, 2 * k + 2) / 2] for k in range(60)]
print(json.dumps([cp, po]))`;
    const [cp, po] = askPython<[number[][], number[][]]>(script, cases);
    cases.forEach(([k, n], at) => {
      const { low, high } = clopperPearson(k!, n!);
      expect(low).toBeCloseTo(cp[at]![0]!, 9);
      expect(high).toBeCloseTo(cp[at]![1]!, 9);
    });
    po.forEach(([low, high], k) => {
      expect(poissonInterval(k).low).toBeCloseTo(low!, 7);
      expect(poissonInterval(k).high).toBeCloseTo(high!, 7);
    });
  });
});

describe('Poisson intervals', () => {
  it('end at -ln(0.025) for none, the closed form', () => {
    expect(poissonInterval(0)).toEqual({ low: 0, high: expect.closeTo(-Math.log(0.025), 9) });
  });
});

describe('the incomplete beta function', () => {
  it('is a power for one whole parameter', () => {
    expect(incompleteBeta(0.3, 4, 1)).toBeCloseTo(0.3 ** 4, 12);
    expect(incompleteBeta(0.3, 1, 4)).toBeCloseTo(1 - 0.7 ** 4, 12);
  });
});
