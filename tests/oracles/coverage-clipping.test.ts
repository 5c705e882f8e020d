/**
 * Coverage against polygon clipping: the union of the shapes cut with every pixel square by the reference library
 * `polygon-clipping` (a Martinez-Rueda-Feito clipper; non-zero rule for rings that cross themselves, per its README).
 */
import fc from 'fast-check';
import polygonClipping from 'polygon-clipping';
import { expect, test } from 'vitest';
import { renderCoverage } from '../../pipeline/kernels/coverage.ts';
import {
  anyShapes,
  COLUMNS,
  GRID,
  huge,
  keyhole,
  ROWS,
  reversed,
  snapped,
  staircase,
  tangled,
  toDie,
  upright,
} from './coverage-polygons.ts';

type Ring = [number, number][];
type Shapes = readonly (readonly number[])[];

const ring = (flat: readonly number[]): Ring =>
  Array.from({ length: flat.length / 2 }, (_, n) => [flat[2 * n]!, flat[2 * n + 1]!]);

function ringArea(points: Ring): number {
  let twice = 0;
  const [ou, ov] = points[0]!;
  for (let n = 1; n + 1 < points.length; n++) {
    const [au, av] = points[n]!;
    const [bu, bv] = points[n + 1]!;
    twice += (au - ou) * (bv - ov) - (av - ov) * (bu - ou);
  }
  return Math.abs(twice) / 2;
}

/** Outer rings minus their holes. */
const area = (regions: Ring[][]): number =>
  regions.reduce(
    (sum, rings) => sum + rings.reduce((own, points, n) => own + (n === 0 ? 1 : -1) * ringArea(points), 0),
    0,
  );

const union = (shapes: Shapes): Ring[][] => {
  const [first, ...others] = shapes.map((shape) => [ring(shape)]);
  return polygonClipping.union(first!, ...others);
};

function clipped(region: Ring[][], column: number, row: number): number {
  const square: Ring = [
    [column, row],
    [column + 1, row],
    [column + 1, row + 1],
    [column, row + 1],
  ];
  return area(polygonClipping.intersection(region, [square]));
}

/**
 * What the library says, or null where it throws: it gives up on a few nearly degenerate inputs. Such a case says
 * nothing about us; the tests count the cases that were compared.
 */
function orNull<T>(reference: () => T): T | null {
  try {
    return reference();
  } catch {
    return null;
  }
}

function clippedRaster(shapes: Shapes): number[] {
  const region = union(shapes);
  return Array.from({ length: ROWS * COLUMNS }, (_, n) =>
    clipped(region, n % COLUMNS, Math.floor(n / COLUMNS)),
  );
}

/** Compares one set of shapes pixel by pixel; returns the worst difference, or null where the library gave up. */
function worstDifference(shapes: Shapes): number | null {
  const inDie = shapes.map((shape) => toDie(shape));
  const raster = renderCoverage(inDie, GRID);
  const reference = orNull(() => clippedRaster(shapes));
  return reference && Math.max(...reference.map((value, n) => Math.abs(raster[n]! - value)));
}

const list = (polygon: fc.Arbitrary<number[]>, most: number): fc.Arbitrary<number[][]> =>
  fc
    .array(fc.tuple(polygon, fc.boolean()), { minLength: 1, maxLength: most })
    .map((shapes) => shapes.map(([shape, turn]) => (turn ? reversed(shape) : shape)));

test.each([
  ['polygons that cross themselves', tangled, 2],
  ['overlapping rectangles', upright, 6],
  ['vertices on pixel borders and half pixels', snapped, 3],
  ['holes cut by a bridge', keyhole, 3],
  ['polygons far larger than the grid', huge, 2],
  ['staircases', staircase, 4],
] as const)(
  '%s: every pixel equals the clipped area',
  (_, polygon, most) => {
    let compared = 0;
    fc.assert(
      fc.property(list(polygon, most), (shapes) => {
        const worst = worstDifference(shapes);
        if (worst === null) return;
        compared++;
        expect(worst).toBeLessThan(1e-6);
      }),
      { seed: 4711, numRuns: 40 },
    );
    expect(compared).toBeGreaterThan(35);
  },
  60_000,
);

test('everything mixed: every pixel equals the clipped area', () => {
  let compared = 0;
  fc.assert(
    fc.property(anyShapes, (shapes) => {
      const worst = worstDifference(shapes);
      if (worst === null) return;
      compared++;
      expect(worst).toBeLessThan(1e-6);
    }),
    { seed: 815, numRuns: 80 },
  );
  expect(compared).toBeGreaterThan(70);
}, 60_000);

test('the total over a grid that holds everything is the area of the union', () => {
  const wide = { ...GRID, width_px: 40, height_px: 40 };
  let compared = 0;
  fc.assert(
    fc.property(list(fc.oneof(tangled, upright, keyhole, staircase), 6), (shapes) => {
      const moved = shapes.map((shape) =>
        toDie(
          shape.map((value) => value + 10),
          wide,
        ),
      );
      const total = renderCoverage(moved, wide).reduce((sum, value) => sum + value, 0);
      const expected = orNull(() => area(union(shapes)));
      if (expected === null) return;
      compared++;
      expect(Math.abs(total - expected)).toBeLessThan(1e-5 * Math.max(1, expected));
    }),
    { seed: 99, numRuns: 100 },
  );
  expect(compared).toBeGreaterThan(90);
}, 60_000);
