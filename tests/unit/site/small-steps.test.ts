/** The small pure parts: grey values, numbers, wheel, prefetch, labels, tint. */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { formatValue, valueOfGrey } from '../../../site/lib/grey.ts';
import { spreadLabels } from '../../../site/lib/label-spread.ts';
import {
  formatBytes,
  formatCount,
  formatFigures,
  formatFixed,
  formatLength,
} from '../../../site/lib/numbers.ts';
import { platesAhead } from '../../../site/lib/prefetch.ts';
import { linearTint } from '../../../site/lib/tint.ts';
import { wheelSteps } from '../../../site/lib/wheel.ts';

describe('grey values', () => {
  const map = { unit: 'e/Å³', black: -0.25, white: 4.85 };
  it('are linear between black and white', () => {
    expect(valueOfGrey(map, 0)).toBe(-0.25);
    expect(valueOfGrey(map, 255)).toBe(4.85);
    expect(valueOfGrey(map, 51)).toBeCloseTo(0.77, 12);
  });
  it('are printed to the grey step and no finer', () => {
    expect(formatValue(map, 51)).toBe('0.77\u00a0e/Å³');
    expect(formatValue({ unit: 'arbitrary', black: 0, white: 65535 }, 1)).toBe('257\u00a0(arbitrary unit)');
    expect(formatValue({ unit: 'x', black: 5, white: 5 }, 9)).toBe('5\u00a0x');
  });
  it('may run the other way', () => expect(valueOfGrey({ unit: 'x', black: 10, white: 0 }, 255)).toBe(0));
});

describe('numbers', () => {
  // ISO 80000-1, 7.3.2: groups of three by a small space, no comma; a minus sign, not a hyphen.
  it.each([
    [1200, '1200'],
    [12000, '12\u202f000'],
    [1234567, '1\u202f234\u202f567'],
    [-45678, '\u221245\u202f678'],
  ])('%i is printed %s', (value, text) => expect(formatCount(value)).toBe(text));
  it('never prints a negative zero', () => expect(formatFixed(-0.0004, 2)).toBe('0.00'));
  it.each([
    [0.011, '11.0\u00a0nm'],
    [0.9999, '1000\u00a0nm'],
    [12.345, '12.3\u00a0µm'],
    [1500, '1.50\u00a0mm'],
    [0, '0\u00a0µm'],
  ])('%f µm is printed %s', (value, text) => expect(formatLength(value)).toBe(text));
  it.each([
    [123456789, '1.23\u00a0×\u00a010⁸'],
    [0.00000012, '1.20\u00a0×\u00a010⁻⁷'],
    [0.000123, '0.000123'],
    [-2.5, '\u22122.50'],
    [Number.NaN, '–'],
  ])('%f to three figures is %s', (value, text) => expect(formatFigures(value, 3)).toBe(text));
  // IEC 80000-13: kB is 1000 bytes.
  it.each([
    [999, '999\u00a0B'],
    [1000, '1.00\u00a0kB'],
    [48_128, '48.1\u00a0kB'],
    [2_400_000, '2.40\u00a0MB'],
  ])('%i bytes are %s', (value, text) => expect(formatBytes(value)).toBe(text));
});

describe('wheel', () => {
  it('makes one plate of a notch, whatever the unit', () => {
    expect(wheelSteps(0, 100, 0).steps).toBe(1);
    expect(wheelSteps(0, 120, 0).steps).toBe(1);
    expect(wheelSteps(0, -100, 0).steps).toBe(-1);
    expect(wheelSteps(0, 3, 1).steps).toBe(1);
  });
  it('adds up small movements and loses none', () => {
    let carry = 0;
    let steps = 0;
    for (let n = 0; n < 130; n++) {
      const turn = wheelSteps(carry, 7, 0);
      carry = turn.carryPx;
      steps += turn.steps;
    }
    expect(steps * 100 + carry).toBe(910);
  });
  it('answers at once when it turns back', () =>
    expect(wheelSteps(90, -100, 0)).toEqual({ steps: -1, carryPx: 0 }));
});

describe('plates ahead', () => {
  it('lie in the direction of travel, the next one first', () => {
    expect(platesAhead(20, 10, 1)).toEqual([11, 9, 12, 13]);
    expect(platesAhead(20, 10, -1)).toEqual([9, 11, 8, 7]);
    expect(platesAhead(20, 10, 0)).toEqual([11, 9, 12, 8]);
  });
  it('stay inside, without the plate itself or a double', () => {
    for (let index = 0; index < 5; index++) {
      for (const direction of [-1, 0, 1] as const) {
        const plates = platesAhead(5, index, direction);
        expect(new Set(plates).size).toBe(plates.length);
        expect(plates.every((plate) => plate >= 0 && plate < 5 && plate !== index)).toBe(true);
      }
    }
  });
});

describe('labels', () => {
  it('stay where there is room and part where there is none', () => {
    expect(spreadLabels([10, 50, 90], 5, [0, 100])).toEqual([10, 50, 90]);
    expect(spreadLabels([50, 52], 10, [0, 100])).toEqual([46, 56]);
    expect(spreadLabels([1, 2], 10, [0, 100])).toEqual([0, 10]);
  });
  it('keep gap, order and range for any stack that fits', () => {
    fc.assert(
      fc.property(
        fc.array(fc.double({ min: 0, max: 100, noNaN: true }), { minLength: 1, maxLength: 20 }),
        (wanted) => {
          const placed = spreadLabels(wanted, 4, [0, 100]);
          const order = wanted.map((_, n) => n).sort((a, b) => placed[a]! - placed[b]!);
          for (const [n, member] of order.entries()) {
            expect(placed[member]).toBeGreaterThanOrEqual(-1e-9);
            expect(placed[member]).toBeLessThanOrEqual(100 + 1e-9);
            if (n > 0) {
              expect(placed[member]! - placed[order[n - 1]!]!).toBeGreaterThanOrEqual(4 - 1e-9);
              expect(wanted[member]!).toBeGreaterThanOrEqual(wanted[order[n - 1]!]!);
            }
          }
        },
      ),
      { seed: 19, numRuns: 300 },
    );
  });
});

describe('tint', () => {
  it('gives one colour with the coverage as opacity, nothing where there is no data', () => {
    const rgba = new Uint8ClampedArray([255, 255, 255, 255, 0, 0, 0, 255, 51, 51, 51, 255, 255, 255, 255, 0]);
    linearTint(rgba, '#8040c0');
    expect([...rgba]).toEqual([128, 64, 192, 255, 128, 64, 192, 0, 128, 64, 192, 51, 128, 64, 192, 0]);
  });
});
