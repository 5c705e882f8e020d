import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { chooseScaleBar, roundLabel, roundTicks } from '../../../site/lib/scale-bar.ts';

describe('scale bar', () => {
  // By hand: 150 px at 0.011 µm each are 1.65 µm, so the bar is 1 µm long and 90.9 px wide.
  it.each([
    [0.011, 150, 1, '1\u00a0µm'],
    [0.02, 100, 2, '2\u00a0µm'],
    [0.001, 150, 0.1, '100\u00a0nm'],
    [0.0001, 60, 0.005, '5\u00a0nm'],
    [3, 150, 200, '200\u00a0µm'],
    [20, 150, 2000, '2\u00a0mm'],
  ])('at %f µm per pixel and %i px it is %f µm: %s', (umPerPx, maxPx, length, label) => {
    const bar = chooseScaleBar(umPerPx, maxPx);
    expect(bar.lengthUm).toBeCloseTo(length, 10);
    expect(bar.px).toBeCloseTo(length / umPerPx, 8);
    expect(bar.label).toBe(label);
  });

  it('is a 1, 2 or 5 of some power of ten and fills more than two fifths of its room', () => {
    fc.assert(
      fc.property(
        fc.double({ min: 1e-6, max: 1e4, noNaN: true }),
        fc.integer({ min: 20, max: 400 }),
        (umPerPx, maxPx) => {
          const bar = chooseScaleBar(umPerPx, maxPx);
          expect(bar.px).toBeLessThanOrEqual(maxPx * (1 + 1e-8));
          expect(bar.px).toBeGreaterThan(maxPx * 0.399);
          expect(['1', '2', '5']).toContain(bar.lengthUm.toExponential(6).replace(/\.?0*e.*$/, ''));
        },
      ),
      { seed: 3, numRuns: 500 },
    );
  });

  it('labels without binary dust', () => expect(roundLabel(0.30000000000000004)).toBe('300\u00a0nm'));
});

describe('ticks', () => {
  it('stand at round places inside the range', () => {
    expect(roundTicks(99.6, 115.2, 6).values).toEqual([100, 105, 110, 115]);
    expect(roundTicks(-0.31, 0.33, 7)).toMatchObject({ stepUm: 0.1, decimals: 1 });
  });

  it('are never too many, in order, inside, on multiples of the step', () => {
    fc.assert(
      fc.property(
        fc.double({ min: -1e4, max: 1e4, noNaN: true }),
        fc.double({ min: 1e-3, max: 1e4, noNaN: true }),
        fc.integer({ min: 1, max: 20 }),
        (from, span, most) => {
          const { values, stepUm } = roundTicks(from, from + span, most);
          expect(values.length).toBeLessThanOrEqual(most);
          for (const [n, value] of values.entries()) {
            expect(value).toBeGreaterThanOrEqual(from - stepUm * 1e-6);
            expect(value).toBeLessThanOrEqual(from + span + stepUm * 1e-6);
            expect(Math.abs(value / stepUm - Math.round(value / stepUm))).toBeLessThan(1e-6);
            if (n > 0) expect(value - values[n - 1]!).toBeCloseTo(stepUm, 6);
          }
        },
      ),
      { seed: 5, numRuns: 500 },
    );
  });

  it('has none for an empty range', () => expect(roundTicks(3, 3, 5).values).toEqual([]));
});
