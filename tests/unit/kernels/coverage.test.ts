import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { renderCoverage } from '../../../pipeline/kernels/coverage.ts';
import type { PlateGrid } from '../../../shared/frames.ts';
import { anyShapes, GRID, reversed, toDie } from '../../oracles/coverage-polygons.ts';

/** Pixels of 1 um whose lower left corner is the die origin: die (x, y) lies in column floor(x), row H - 1 - floor(y). */
const unitGrid = (width: number, height: number): PlateGrid => ({
  origin_um: [0.5, height - 0.5],
  pixel_um: 1,
  width_px: width,
  height_px: height,
});

const rows = (raster: Float32Array, width: number): number[][] =>
  Array.from({ length: raster.length / width }, (_, row) => [
    ...raster.subarray(row * width, (row + 1) * width),
  ]);

const expectNear = (found: ArrayLike<number>, wanted: ArrayLike<number>, within: number): void => {
  expect(found.length).toBe(wanted.length);
  for (let n = 0; n < found.length; n++) expect(Math.abs(found[n]! - wanted[n]!)).toBeLessThanOrEqual(within);
};

const box = (x0: number, y0: number, x1: number, y1: number): number[] => [x0, y0, x1, y0, x1, y1, x0, y1];

describe('values worked by hand', () => {
  test('a diagonal halves the pixels it runs through; row 0 is at the largest Y', () => {
    expect(rows(renderCoverage([[0, 0, 3, 0, 0, 3]], unitGrid(3, 3)), 3)).toEqual([
      [0.5, 0, 0],
      [1, 0.5, 0],
      [1, 1, 0.5],
    ]);
  });

  test('a slope of one in two: a quarter and three quarters', () => {
    // Below y = x / 2 the first pixel holds the triangle 1 x 0.5 / 2, the second that and 0.5.
    expect([...renderCoverage([[0, 0, 2, 0, 2, 1]], unitGrid(2, 1))]).toEqual([0.25, 0.75]);
  });

  test('a rectangle across pixel borders covers products of its overlaps', () => {
    // x from 0.25 to 2.5: 0.75, 1, 0.5; y from 0.5 to 2: 1 above, 0.5 below.
    expect(rows(renderCoverage([box(0.25, 0.5, 2.5, 2)], unitGrid(3, 2)), 3)).toEqual([
      [0.75, 1, 0.5],
      [0.375, 0.5, 0.25],
    ]);
  });

  test('an hourglass that crosses itself: both halves count, drawn in opposite senses', () => {
    // Corners (0,0) (2,2) (2,0) (0,2): left triangle with apex (1,1), right one likewise; each pixel is cut by a diagonal.
    expect([...renderCoverage([[0, 0, 2, 2, 2, 0, 0, 2]], unitGrid(2, 2))]).toEqual([0.5, 0.5, 0.5, 0.5]);
  });

  test('a ring walked twice is inside where it winds twice, with either sense', () => {
    const twice = [...box(0.5, 0.5, 1.5, 1.5), ...box(0.5, 0.5, 1.5, 1.5)];
    expect([...renderCoverage([twice], unitGrid(2, 2))]).toEqual([0.25, 0.25, 0.25, 0.25]);
  });

  test('an inner loop of the same sense is no hole, one of the other sense is', () => {
    const outer = [0, 0, 3, 0, 3, 3, 0, 3, 0, 0];
    const same = [...outer, ...box(1, 1, 2, 2), 1, 1];
    const other = [...outer, 1, 1, 1, 2, 2, 2, 2, 1, 1, 1];
    expect(renderCoverage([same], unitGrid(3, 3))[4]).toBe(1);
    expect(rows(renderCoverage([other], unitGrid(3, 3)), 3)).toEqual([
      [1, 1, 1],
      [1, 0, 1],
      [1, 1, 1],
    ]);
  });

  test('windings of two polygons do not cancel: union, not sum', () => {
    const left = box(0, 0, 1, 1);
    const right = reversed(box(0.5, 0, 1.5, 1));
    expect([...renderCoverage([left, right], unitGrid(2, 1))]).toEqual([1, 0.5]);
  });

  test('crossing bars', () => {
    // A bar of height 1 and one of width 1 through the middle; the diamond between them only touches the corner pixels.
    expect(
      rows(
        renderCoverage(
          [box(0, 1, 3, 2), box(1, 0, 2, 3), [0.5, 1.5, 1.5, 0.5, 2.5, 1.5, 1.5, 2.5]],
          unitGrid(3, 3),
        ),
        3,
      ),
    ).toEqual([
      [0, 1, 0],
      [1, 1, 1],
      [0, 1, 0],
    ]);
  });

  test('a diamond inside one pixel', () => {
    expect(renderCoverage([[0.5, 0, 1, 0.5, 0.5, 1, 0, 0.5]], unitGrid(1, 1))[0]).toBe(0.5);
  });

  test('fifty contacts smaller than a pixel add up', () => {
    const contacts = Array.from({ length: 50 }, (_, n) => {
      const x = (n % 10) / 10;
      const y = Math.floor(n / 10) / 5;
      return box(x, y, x + 0.05, y + 0.1);
    });
    expect(renderCoverage(contacts, unitGrid(1, 1))[0]).toBeCloseTo(50 * 0.05 * 0.1, 6);
  });
});

describe('the grid as a window', () => {
  test('shapes outside on any side leave no trace, a shape around everything fills it', () => {
    const grid = unitGrid(3, 2);
    const outside = [
      box(-5, 0, -1, 2),
      box(4, 0, 6, 2),
      box(0, 2.5, 3, 4),
      box(0, -3, 3, 0),
      [-9, -9, -1, -1, -9, 9],
    ];
    expect([...renderCoverage(outside, grid)]).toEqual([0, 0, 0, 0, 0, 0]);
    expect([...renderCoverage([box(-1e5, -1e5, 1e5, 1e5)], grid)]).toEqual([1, 1, 1, 1, 1, 1]);
    expect([...renderCoverage([[-1e5, -1e5, 1e5, -1e5, 0, 1e5]], grid)]).toEqual([1, 1, 1, 1, 1, 1]);
  });

  test('a triangle that enters from the left and leaves to the right', () => {
    // Corners (-1,0) (3,0) (1,2) over x 0..2, y 0..1: both upper corners are cut by lines of slope 1 that start at y = 1.
    expect(rows(renderCoverage([[-1, 0, 3, 0, 1, 2]], unitGrid(2, 2)), 2)).toEqual([
      [0.5, 0.5],
      [1, 1],
    ]);
  });

  test('part of a grid shows what the whole grid shows there', () => {
    fc.assert(
      fc.property(
        anyShapes,
        fc.integer({ min: 0, max: 5 }),
        fc.integer({ min: 0, max: 4 }),
        (shapes, column, row) => {
          const inDie = shapes.map((shape) => toDie(shape));
          const part: PlateGrid = {
            origin_um: [GRID.origin_um[0] + column * GRID.pixel_um, GRID.origin_um[1] - row * GRID.pixel_um],
            pixel_um: GRID.pixel_um,
            width_px: GRID.width_px - column,
            height_px: GRID.height_px - row,
          };
          const whole = rows(renderCoverage(inDie, GRID), GRID.width_px)
            .slice(row)
            .flatMap((line) => line.slice(column));
          expectNear(renderCoverage(inDie, part), whole, 1e-6);
        },
      ),
      { seed: 11, numRuns: 100 },
    );
  });
});

describe('properties of area', () => {
  test('neither sense of drawing, nor order, nor repetition changes the union', () => {
    fc.assert(
      fc.property(anyShapes, (shapes) => {
        const inDie = shapes.map((shape) => toDie(shape));
        const other = [...inDie, ...inDie.slice(0, 2)].reverse().map(reversed);
        expectNear(renderCoverage(other, GRID), renderCoverage(inDie, GRID), 1e-6);
      }),
      { seed: 12, numRuns: 150 },
    );
  });

  test('moving grid and shapes together changes nothing; moving by a pixel moves the picture', () => {
    fc.assert(
      fc.property(anyShapes, fc.double({ min: -500, max: 500, noNaN: true }), (shapes, shift) => {
        const inDie = shapes.map((shape) => toDie(shape));
        const moved = inDie.map((shape) => shape.map((value) => value + shift));
        const [x, y] = GRID.origin_um;
        const here = renderCoverage(inDie, GRID);
        expectNear(renderCoverage(moved, { ...GRID, origin_um: [x + shift, y + shift] }), here, 1e-6);
        const right = inDie.map((shape) =>
          shape.map((value, n) => value + (n % 2 === 0 ? GRID.pixel_um : 0)),
        );
        const before = rows(here, GRID.width_px).flatMap((line) => line.slice(0, -1));
        const after = rows(renderCoverage(right, GRID), GRID.width_px).flatMap((line) => line.slice(1));
        expectNear(after, before, 1e-6);
      }),
      { seed: 13, numRuns: 100 },
    );
  });

  test('swapping x and y swaps rows and columns, though the sweep treats them differently', () => {
    fc.assert(
      fc.property(anyShapes, (shapes) => {
        const size = { pixel_um: 1, width_px: 9, height_px: 9, origin_um: [0.5, -0.5] as const };
        const down = shapes.map((shape) => shape.map((value, n) => (n % 2 === 0 ? value : -value)));
        const swapped = shapes.map((shape) =>
          shape.map((_, n) => (n % 2 === 0 ? shape[n + 1]! : -shape[n - 1]!)),
        );
        const straight = renderCoverage(down, size);
        const across = renderCoverage(swapped, size);
        const turned = straight.map((_, n) => straight[(n % 9) * 9 + Math.floor(n / 9)]!);
        expectNear(across, turned, 1e-6);
      }),
      { seed: 14, numRuns: 150 },
    );
  });

  test('values stay within 0 and 1, and a coarse pixel is the mean of the fine ones', () => {
    fc.assert(
      fc.property(anyShapes, (shapes) => {
        const down = shapes.map((shape) => shape.map((value, n) => (n % 2 === 0 ? value : -value)));
        const fine = renderCoverage(down, {
          pixel_um: 1,
          width_px: 12,
          height_px: 8,
          origin_um: [0.5, -0.5],
        });
        const coarse = renderCoverage(down, { pixel_um: 4, width_px: 3, height_px: 2, origin_um: [2, -2] });
        const mean = new Float64Array(6);
        fine.forEach((value, n) => {
          expect(value >= 0 && value <= 1).toBe(true);
          mean[Math.floor(n / 48) * 3 + Math.floor((n % 12) / 4)]! += value / 16;
        });
        expectNear(coarse, mean, 1e-6);
      }),
      { seed: 15, numRuns: 100 },
    );
  });
});

describe('degenerate and wrong input', () => {
  test.each([
    ['no vertices', []],
    ['two vertices', [0, 0, 2, 2]],
    ['a level line', [0, 1, 2, 1, 1, 1]],
    ['an upright line', [1, 0, 1, 2, 1, 1, 1, 2]],
    ['a slanted line there and back', [0, 0, 2, 2, 1, 1]],
    ['one point repeated', [1, 1, 1, 1, 1, 1, 1, 1]],
  ])('%s covers nothing', (_, shape) => {
    expect([...renderCoverage([shape], unitGrid(2, 2))]).toEqual([0, 0, 0, 0]);
  });

  test('repeated vertices, collinear vertices and spikes do not change the area', () => {
    const plain = [...renderCoverage([box(0.25, 0.25, 1.75, 1.75)], unitGrid(2, 2))];
    const busy = [
      0.25, 0.25, 0.25, 0.25, 1, 0.25, 1.75, 0.25, 1.75, 1.75, 5, 1.75, 1.75, 1.75, 1, 3, 1, 1.75,
    ];
    busy.push(0.25, 1.75, 0.25, 0.25);
    // The spike towards (1, 3) runs out along a slant and comes back along an upright line: it adds a thin triangle.
    const spike = [1.75, 1.75, 1, 3, 1, 1.75];
    const withoutSpike = [
      0.25, 0.25, 0.25, 0.25, 1, 0.25, 1.75, 0.25, 1.75, 1.75, 5, 1.75, 1.75, 1.75, 0.25, 1.75,
    ];
    expectNear(renderCoverage([withoutSpike], unitGrid(2, 2)), plain, 1e-7);
    expectNear(
      renderCoverage([busy], unitGrid(2, 2)),
      renderCoverage([withoutSpike, spike], unitGrid(2, 2)),
      1e-7,
    );
  });

  test('a closing vertex may be given or left out', () => {
    expect(renderCoverage([[...box(0, 0, 1.5, 1), 0, 0]], unitGrid(2, 1))).toEqual(
      renderCoverage([box(0, 0, 1.5, 1)], unitGrid(2, 1)),
    );
  });

  test.each([NaN, Infinity, -Infinity])('a coordinate %s is refused, with its place', (bad) => {
    expect(() => renderCoverage([box(0, 0, 1, 1), [0, 0, 1, bad, 1, 1]], unitGrid(2, 2))).toThrow(
      /^Polygon 1, vertex 1 is not finite/,
    );
    expect(() => renderCoverage([[0, 0, bad, 0, 1, 1]], unitGrid(2, 2))).toThrow(RangeError);
  });

  test('an odd list, an unfit raster and an impossible grid are refused', () => {
    expect(() => renderCoverage([[0, 0, 1, 1, 2]], unitGrid(2, 2))).toThrow(
      /odd number of coordinates \(5\)/,
    );
    expect(() => renderCoverage([], unitGrid(2, 2), new Float32Array(5))).toThrow(
      /holds 5 pixels, the grid 4/,
    );
    expect(() => renderCoverage([], unitGrid(0, 2))).toThrow(RangeError);
    expect(() => renderCoverage([], unitGrid(1.5, 2))).toThrow(RangeError);
    expect(() => renderCoverage([], { ...unitGrid(2, 2), pixel_um: 0 })).toThrow(/pixel size above 0/);
    expect(() => renderCoverage([], { ...unitGrid(2, 2), origin_um: [NaN, 0] })).toThrow(/finite origin/);
  });

  test('a raster handed in is written over completely', () => {
    const raster = new Float32Array(4).fill(7);
    expect(renderCoverage([box(0, 0, 1, 1)], unitGrid(2, 2), raster)).toBe(raster);
    expect([...raster]).toEqual([0, 0, 1, 0]);
  });
});
