/** Which shapes that are not drawn are fill, on boxes laid out by hand. Expected: what the words of the user say fill is. */
import { describe, expect, it } from 'vitest';
import type { Difference } from '../../../pipeline/stages/compare/box-fit.ts';
import { groupFill } from '../../../pipeline/stages/compare/fill-groups.ts';
import { leastAmplitude } from '../../../pipeline/stages/compare/find-differences.ts';

const SIDE = 200;
const known = new Float32Array(SIDE * SIDE);
/** All but a rim of 10 pixels. */
const judged = new Uint8Array(SIDE * SIDE).map((_, n) => {
  const [x, y] = [n % SIDE, Math.floor(n / SIDE)];
  return Math.min(x, y, SIDE - 1 - x, SIDE - 1 - y) >= 10 ? 1 : 0;
});

const shape = (x0: number, y0: number, w: number, h: number, amplitude = 1): Difference => ({
  ...{ x0, y0, x1: x0 + w, y1: y0 + h, ground: 'gap' as const, sign: 1 as const, amplitude },
  ...{ amplitudeSd: 0.03, llr: 450, z: 30, areaPx: w * h },
});
const rows = [0, 1, 2, 3].flatMap((i) => [0, 1, 2, 3].map((j) => shape(20 + 30 * i, 20 + 30 * j, 15, 15)));
const fillOf = (...layers: Difference[][]): Difference[][] =>
  groupFill(
    layers.map((extra) => ({ extra, known })),
    judged,
    SIDE,
  ).map((groups) => groups.flatMap((g) => g.members));

describe('groupFill', () => {
  it('knows a row of squares, and leaves a blob as large as they beside them', () => {
    const blob = shape(157, 155, 15, 15, Math.PI / 4);
    const [found] = fillOf([...rows, blob]);
    expect(found).toHaveLength(rows.length);
    expect(found).not.toContain(blob);
  });
  it('takes what noise made larger for fill on a place of sure rows, and nowhere else', () => {
    const large = shape(138, 18, 18, 18, 1.05);
    const astray = shape(123, 33, 18, 18, 1.05);
    // Smaller by a fifth, and on a place of the rows all the same: noise adds to a box, it does not take away.
    const small = shape(142, 52, 11, 12);
    const [found] = fillOf([...rows, large, astray, small]);
    expect(found).toContain(large);
    expect(found).not.toContain(astray);
    expect(found).not.toContain(small);
  });
  it('takes wide squares that a missing cone has faded for fill where they stand in line, and not one by itself', () => {
    const faded = [shape(30, 60, 30, 30, 0.66), shape(30, 140, 31, 30, 0.68), shape(110, 140, 30, 30, 0.66)];
    const alone = shape(140, 20, 24, 24, 0.66);
    const [found] = fillOf([...faded, alone]);
    expect(new Set(found)).toEqual(new Set(faded));
    // Noise has made one of the two a little longer than wide.
    const uneven = [shape(30, 60, 30, 30, 0.66), shape(30, 140, 31, 29, 0.66)];
    expect(new Set(fillOf(uneven)[0])).toEqual(new Set(uneven));
  });
  it('takes one whole square for fill on the word of another layer, and nothing that only resembles it', () => {
    const square = shape(63, 77, 15, 15);
    // As much metal as a square of that fill, in a box two pixels longer.
    const blob = shape(130, 101, 17, 15, 0.86);
    const [, found] = fillOf(rows, [square, blob]);
    expect(found).toEqual([square]);
  });
  it('leaves such a square alone on a layer whose own fill is of another size', () => {
    const square = shape(63, 77, 15, 15);
    const larger = [
      shape(100, 20, 20, 20),
      shape(100, 60, 20, 20),
      shape(140, 20, 20, 20),
      shape(140, 60, 20, 20),
    ];
    const [, found] = fillOf(rows, [...larger, square]);
    expect(new Set(found)).toEqual(new Set(larger));
  });
  it('takes two squares of one size in one column, one of them cut by the rim, whatever lies on other layers', () => {
    const pair = [shape(60, 40, 13, 12), shape(60, 9, 13, 13)];
    const [, found] = fillOf(rows, pair);
    expect(new Set(found)).toEqual(new Set(pair));
  });
});

it('asks for nearly full metal of what is large, and for a part of what is as small as a via', () => {
  const box = (w: number, h: number) => ({ x0: 0, y0: 0, x1: w, y1: h, areaPx: w * h });
  expect(leastAmplitude(box(1, 1))).toBeCloseTo(0.35, 10);
  // A wire that is narrow: long, and a part of its width gone.
  expect(leastAmplitude(box(7, 17))).toBeCloseTo(0.35, 10);
  expect(leastAmplitude(box(20, 20))).toBeCloseTo(0.6, 10);
  // A round blob fills pi / 4 of the box around it.
  expect(leastAmplitude(box(20, 20))).toBeLessThan(Math.PI / 4);
});
