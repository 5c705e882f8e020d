import fc from 'fast-check';
import { inverse, Matrix } from 'ml-matrix';
import { describe, expect, it } from 'vitest';
import {
  type Affine3,
  apply2,
  apply3,
  compose2,
  compose3,
  determinant3,
  invert2,
  invert3,
} from '../../../shared/affine.ts';

const entry = fc.double({ min: -50, max: 50, noNaN: true });
const row = fc.tuple(entry, entry, entry, entry);
const affine3 = fc.tuple(row, row, row).filter((m) => Math.abs(determinant3(m)) > 1);
const affine2 = fc
  .tuple(entry, entry, entry, entry, entry, entry)
  .filter(([a, b, , c, d]) => Math.abs(a * d - b * c) > 0.5);
const point = fc.tuple(entry, entry, entry);
const OPTIONS = { seed: 20260, numRuns: 200 };

const homogeneous = (m: Affine3) => new Matrix([...m.map((r) => [...r]), [0, 0, 0, 1]]);

describe('affine maps', () => {
  it('agree with a reference matrix library (ml-matrix) on inverse, product and determinant', () => {
    fc.assert(
      fc.property(affine3, affine3, (m, n) => {
        const product = homogeneous(m).mmul(homogeneous(n));
        const scale = Math.max(1, product.max(), -product.min());
        compose3(m, n).forEach((r, y) =>
          r.forEach((value, x) => expect(value / scale).toBeCloseTo(product.get(y, x) / scale, 10)),
        );
        const inverted = inverse(homogeneous(m));
        const size = Math.max(1, inverted.max(), -inverted.min());
        invert3(m).forEach((r, y) =>
          r.forEach((value, x) => expect(value / size).toBeCloseTo(inverted.get(y, x) / size, 6)),
        );
      }),
      OPTIONS,
    );
  });

  it('come back to the point they started from', () => {
    fc.assert(
      fc.property(affine3, affine2, point, (m, n, p) => {
        apply3(invert3(m), apply3(m, p)).forEach((value, axis) => expect(value).toBeCloseTo(p[axis]!, 5));
        const [x, y] = apply2(invert2(n), ...apply2(n, p[0], p[1]));
        expect(x).toBeCloseTo(p[0], 5);
        expect(y).toBeCloseTo(p[1], 5);
      }),
      OPTIONS,
    );
  });

  it('compose in the order "first b, then a"', () => {
    const quarterTurn = [0, -1, 0, 1, 0, 0] as const;
    const right = [1, 0, 10, 0, 1, 0] as const;
    expect(apply2(compose2(quarterTurn, right), 1, 2)).toEqual([-2, 11]);
  });

  it('refuse to invert what flattens', () => {
    expect(() => invert2([1, 2, 0, 2, 4, 0])).toThrow(RangeError);
    expect(() =>
      invert3([
        [1, 0, 0, 0],
        [0, 1, 0, 0],
        [1, 1, 0, 0],
      ]),
    ).toThrow(RangeError);
  });
});
