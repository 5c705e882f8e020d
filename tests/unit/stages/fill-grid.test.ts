/** Sparse fill on columns and rows. The grids are laid by hand; the expected pitch is the one they were laid with. */
import { describe, expect, it } from 'vitest';
import { leastPitch, off, stepsOf } from '../../../pipeline/stages/compare/fill-grid.ts';
import { generator } from '../../fixtures/random.ts';

describe('stepsOf', () => {
  it('finds the pitch of rows of which most are empty', () => {
    // Rows 0, 2 and 5 of a pitch of 30.7: neither distance between neighbours is the pitch.
    const steps = stepsOf([93, 93, 154.4, 154.6, 154.3, 246.5, 246.4], 20, 0.75)!;
    expect(steps.pitch).toBeCloseTo(30.7, 0);
    expect(off(93 + 30.7 * 4, steps)).toBeLessThan(1);
  });

  it('takes the widest pitch that holds', () => {
    expect(stepsOf([10, 50, 90, 130, 170], 15, 0.75)!.pitch).toBeCloseTo(40, 5);
  });

  it('gives the least pitch where all lie in one row', () => {
    expect(stepsOf([70.2, 70, 69.8], 22, 0.75)).toEqual({ pitch: 22, origin: 69.8 });
  });

  it('hardly ever finds a pitch among places at random', () => {
    const random = generator(11);
    let found = 0;
    for (let n = 0; n < 40; n++) {
      const values = Array.from({ length: 12 }, () => 400 * random());
      if (stepsOf(values, leastPitch(15), 0.75)) found++;
    }
    expect(found).toBeLessThanOrEqual(2);
  });
});
