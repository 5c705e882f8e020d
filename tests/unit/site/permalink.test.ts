import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { encodeState, parseState } from '../../../site/lib/permalink.ts';

describe('permalink', () => {
  it('is short, readable and in micrometres', () => {
    expect(encodeState({ zUm: 2.19, xUm: 105, yUm: -85.5, widthUm: 6.00004, views: 'both' })).toBe(
      '#z=2.19&x=105&y=-85.5&w=6&show=both',
    );
  });

  it('comes back within a tenth of a nanometre', () => {
    const length = fc.double({ min: -1e5, max: 1e5, noNaN: true });
    fc.assert(
      fc.property(
        length,
        length,
        length,
        fc.double({ min: 1e-3, max: 1e5, noNaN: true }),
        fc.constantFrom('both' as const, 'image' as const, 'drawing' as const),
        (zUm, xUm, yUm, widthUm, views) => {
          const back = parseState(encodeState({ zUm, xUm, yUm, widthUm, views }));
          expect(Math.abs(back.zUm! - zUm)).toBeLessThan(1e-4);
          expect(Math.abs(back.xUm! - xUm)).toBeLessThan(1e-4);
          expect(Math.abs(back.yUm! - yUm)).toBeLessThan(1e-4);
          expect(Math.abs(back.widthUm! - widthUm)).toBeLessThan(1e-4);
          expect(back.views).toBe(views);
        },
      ),
      { seed: 7, numRuns: 300 },
    );
  });

  it.each([
    ['', {}],
    ['#', {}],
    ['#z=', {}],
    ['#z=abc&x=NaN&y=Infinity', {}],
    ['#w=0', {}],
    ['#w=-2&show=all', {}],
    // What others keep in the address passes through: small letters, of bounded length.
    ['#z=1e-1&unknown=5&show=image', { zUm: 0.1, views: 'image', extras: { unknown: '5' } }],
    [`#z=1&Q=2&a1=3&long=${'x'.repeat(2001)}`, { zUm: 1 }],
    ['z=3', { zUm: 3 }],
  ])('%j is read as %j', (fragment, state) => expect(parseState(fragment)).toEqual(state));

  it('never throws and never yields a number that is none', () => {
    fc.assert(
      fc.property(fc.string(), (text) => {
        for (const value of Object.values(parseState(`#${text}`))) {
          expect(typeof value === 'string' || Number.isFinite(value)).toBe(true);
        }
      }),
      { seed: 11, numRuns: 300 },
    );
  });
});
