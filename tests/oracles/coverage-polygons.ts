/** Seeded random polygons of every kind that trips an area renderer, in pixels of a small grid, and the grid. */
import fc from 'fast-check';
import type { PlateGrid } from '../../shared/frames.ts';

export const COLUMNS = 11;
export const ROWS = 8;
/** Uneven numbers on purpose: pixel borders are then not representable in binary. */
export const GRID: PlateGrid = {
  origin_um: [37.13, 82.71],
  pixel_um: 0.37,
  width_px: COLUMNS,
  height_px: ROWS,
};

/** Flat list in pixels (u right, v down, pixel c from c to c + 1) to die micrometres on the grid. */
export function toDie(pixels: readonly number[], grid: PlateGrid = GRID): number[] {
  return pixels.map((value, n) =>
    n % 2 === 0
      ? grid.origin_um[0] + (value - 0.5) * grid.pixel_um
      : grid.origin_um[1] - (value - 0.5) * grid.pixel_um,
  );
}

const number = (min: number, max: number): fc.Arbitrary<number> => fc.double({ min, max, noNaN: true });
const point = fc.tuple(number(-3, COLUMNS + 3), number(-3, ROWS + 3));
const flat = (points: readonly (readonly [number, number])[]): number[] => points.flatMap((p) => [...p]);
const box = (u0: number, v0: number, u1: number, v1: number): number[] => [u0, v0, u1, v0, u1, v1, u0, v1];

/** Any vertices in any order: nearly always crosses itself. */
export const tangled = fc.array(point, { minLength: 3, maxLength: 9 }).map(flat);

export const upright = fc.tuple(point, point).map(([a, b]) => box(a[0], a[1], b[0], b[1]));

/** Vertices on half pixels: edges on pixel borders, collinear runs, vertices shared between shapes. */
export const snapped = fc
  .array(
    fc.tuple(fc.integer({ min: -4, max: 2 * COLUMNS + 4 }), fc.integer({ min: -4, max: 2 * ROWS + 4 })),
    {
      minLength: 3,
      maxLength: 8,
    },
  )
  .map((points) => flat(points.map(([u, v]) => [u / 2, v / 2] as const)));

/** A ring with a hole, joined by a bridge that is walked both ways, as layout files draw holes. */
export const keyhole = fc
  .tuple(number(-1, 4), number(-1, 3), number(3, 8), number(3, 6), number(0.1, 0.4), fc.boolean())
  .map(([u, v, width, height, margin, skew]) => {
    const du = width * margin;
    const dv = height * margin;
    const lean = skew ? dv / 2 : 0;
    const outer = [u, v, u + width, v + lean, u + width, v + height, u, v + height - lean, u, v];
    const inner = box(u + du, v + dv, u + width - du, v + height - dv);
    const hole = [0, 3, 2, 1, 0].flatMap((n) => inner.slice(2 * n, 2 * n + 2));
    return [...outer, ...hole];
  });

/** Long and thinner than a thousandth of a pixel, at any angle. */
export const sliver = fc
  .tuple(point, point, number(1e-6, 1e-3))
  .map(([a, b, w]) => [a[0], a[1], b[0], b[1], b[0] + w, b[1] + w, a[0] + w, a[1] + w]);

export const tiny = fc
  .tuple(point, fc.array(fc.tuple(number(-0.01, 0.01), number(-0.01, 0.01)), { minLength: 3, maxLength: 6 }))
  .map(([at, points]) => flat(points.map(([u, v]) => [at[0] + u, at[1] + v] as const)));

/** Far larger than the grid, with corners that may fall anywhere. */
export const huge = fc
  .array(fc.tuple(number(-5000, 5000), number(-5000, 5000)), { minLength: 3, maxLength: 5 })
  .map(flat);

/** Rectilinear and not a rectangle: a staircase. */
export const staircase = fc
  .tuple(point, fc.array(fc.tuple(number(0.1, 2), number(0.1, 2)), { minLength: 2, maxLength: 5 }))
  .map(([[u, v], steps]) => {
    const ring = [u, v];
    let right = u;
    let down = v;
    for (const [du, dv] of steps) {
      right += du;
      ring.push(right, down);
      down += dv;
      ring.push(right, down);
    }
    return [...ring, u, down];
  });

export const anyPolygon = fc.oneof(tangled, upright, snapped, keyhole, sliver, tiny, huge, staircase);

/** The same ring the other way round. */
export function reversed(polygon: readonly number[]): number[] {
  const back: number[] = [];
  for (let n = polygon.length - 2; n >= 0; n -= 2) back.push(polygon[n]!, polygon[n + 1]!);
  return back;
}

/** Several polygons, some the other way round. */
export const anyShapes = fc
  .array(fc.tuple(anyPolygon, fc.boolean()), { minLength: 1, maxLength: 5 })
  .map((list) => list.map(([polygon, turn]) => (turn ? reversed(polygon) : polygon)));
