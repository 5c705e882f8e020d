/** What is drawn along a straight path: the union of all shapes, as intervals. Exact for any angle, on any overlap. */
import Flatbush from 'flatbush';
import { polygonBox } from '../../../shared/polygon.ts';

/** Half-open stretch of a path that is drawn. */
export type Interval = readonly [from: number, to: number];

/** Polygons of one layer, with an index by their boxes. Coordinates in die micrometres. */
export class DrawnShapes {
  readonly polygons: readonly Float64Array[];
  readonly #index: Flatbush | null;

  constructor(polygons: readonly Float64Array[]) {
    this.polygons = polygons;
    this.#index = polygons.length > 0 ? new Flatbush(polygons.length) : null;
    for (const polygon of polygons)
      this.#index?.add(...(polygonBox(polygon) as [number, number, number, number]));
    this.#index?.finish();
  }

  /** Shapes whose box meets a rectangle. */
  near(x0: number, y0: number, x1: number, y1: number): number[] {
    return this.#index?.search(x0, y0, x1, y1) ?? [];
  }

  /**
   * Union of the shapes along a path from (x, y) in the unit direction (ux, uy), 0 to `length`, ascending. Stretches
   * that touch are one.
   */
  along(x: number, y: number, ux: number, uy: number, length: number): Interval[] {
    const [ex, ey] = [x + ux * length, y + uy * length];
    const found: [number, number][] = [];
    for (const n of this.near(Math.min(x, ex), Math.min(y, ey), Math.max(x, ex), Math.max(y, ey))) {
      const crossings = crossed(this.polygons[n]!, x, y, ux, uy);
      for (let c = 0; c + 1 < crossings.length; c += 2) {
        const from = Math.max(0, crossings[c]!);
        const to = Math.min(length, crossings[c + 1]!);
        if (to > from) found.push([from, to]);
      }
    }
    found.sort((a, b) => a[0] - b[0]);
    const union: [number, number][] = [];
    for (const [from, to] of found) {
      const last = union.at(-1);
      if (last && from <= last[1] + TOUCH_UM) last[1] = Math.max(last[1], to);
      else union.push([from, to]);
    }
    return union;
  }
}

/** Gaps below any drawing grid are rounding. */
const TOUCH_UM = 1e-6;

/** Where the infinite line through a point crosses a polygon, as ascending distances; an even number of them. */
function crossed(polygon: Float64Array, x: number, y: number, ux: number, uy: number): number[] {
  const found: number[] = [];
  const count = polygon.length >> 1;
  let ax = polygon[2 * count - 2]! - x;
  let ay = polygon[2 * count - 1]! - y;
  let sideA = ux * ay - uy * ax;
  for (let n = 0; n < count; n++) {
    const bx = polygon[2 * n]! - x;
    const by = polygon[2 * n + 1]! - y;
    const sideB = ux * by - uy * bx;
    // Half-open: a vertex on the line counts with one of its two edges.
    if (sideA < 0 !== sideB < 0) {
      const share = sideA / (sideA - sideB);
      found.push(ux * (ax + share * (bx - ax)) + uy * (ay + share * (by - ay)));
    }
    ax = bx;
    ay = by;
    sideA = sideB;
  }
  return found.sort((a, b) => a - b);
}
