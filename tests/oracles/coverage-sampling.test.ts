/** Coverage against counting points: slow, obvious, and with an error bound that can be stated. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { renderCoverage } from '../../pipeline/kernels/coverage.ts';
import { anyShapes, COLUMNS, GRID, ROWS, toDie } from './coverage-polygons.ts';

/** Points per pixel side. */
const LATTICE = 48;

/** Winding number by summing the turns of the view from the point to the ring. */
function windsAround(polygon: readonly number[], u: number, v: number): boolean {
  let turns = 0;
  for (let n = 0; n < polygon.length; n += 2) {
    const m = (n + 2) % polygon.length;
    const above = polygon[n + 1]! <= v;
    if (above === polygon[m + 1]! <= v) continue;
    const at =
      polygon[n]! +
      ((v - polygon[n + 1]!) / (polygon[m + 1]! - polygon[n + 1]!)) * (polygon[m]! - polygon[n]!);
    if (at > u) turns += above ? 1 : -1;
  }
  return turns !== 0;
}

function sampled(shapes: readonly (readonly number[])[], column: number, row: number): number {
  let inside = 0;
  for (let y = 0; y < LATTICE; y++)
    for (let x = 0; x < LATTICE; x++) {
      const u = column + (x + 0.5) / LATTICE;
      const v = row + (y + 0.5) / LATTICE;
      if (shapes.some((shape) => windsAround(shape, u, v))) inside++;
    }
  return inside / LATTICE ** 2;
}

/** Edges whose box meets the pixel: each can spoil at most 2 LATTICE lattice cells. */
function edgesNear(shapes: readonly (readonly number[])[], column: number, row: number): number {
  let count = 0;
  for (const shape of shapes)
    for (let n = 0; n < shape.length; n += 2) {
      const m = (n + 2) % shape.length;
      const [u0, u1] = [Math.min(shape[n]!, shape[m]!), Math.max(shape[n]!, shape[m]!)];
      const [v0, v1] = [Math.min(shape[n + 1]!, shape[m + 1]!), Math.max(shape[n + 1]!, shape[m + 1]!)];
      if (u0 <= column + 1 && u1 >= column && v0 <= row + 1 && v1 >= row) count++;
    }
  return count;
}

test('agrees with counting points, within the cells the edges can spoil', () => {
  let worst = 0;
  fc.assert(
    fc.property(anyShapes, (shapes) => {
      const raster = renderCoverage(
        shapes.map((shape) => toDie(shape)),
        GRID,
      );
      let sum = 0;
      for (let row = 0; row < ROWS; row++)
        for (let column = 0; column < COLUMNS; column++) {
          const difference = raster[row * COLUMNS + column]! - sampled(shapes, column, row);
          sum += difference;
          worst = Math.max(worst, Math.abs(difference));
          // A segment meets at most 2 LATTICE - 1 cells of the lattice; one more for points on a border.
          const bound = (2 * edgesNear(shapes, column, row)) / LATTICE + 1e-6;
          expect(Math.abs(difference)).toBeLessThanOrEqual(bound);
        }
      // Errors of single pixels have either sign: the mean must be far smaller than the bound.
      expect(Math.abs(sum) / (ROWS * COLUMNS)).toBeLessThan(0.004);
    }),
    { seed: 20260, numRuns: 60 },
  );
  expect(worst).toBeLessThan(0.08);
}, 60_000);
