/** The part of a polygon inside an upright box. Pure. */
import type { Box } from '../../shared/polygon.ts';

/**
 * Parts of a polygon that the box cuts apart come out joined by lines along its edge, which enclose nothing.
 * @param ring flat coordinates, closed implicitly
 * @returns flat coordinates, empty where nothing lies inside
 * @source Sutherland and Hodgman, Reentrant polygon clipping, Communications of the ACM 17 (1974): one half plane
 * after the other.
 */
export function clipToBox(ring: readonly number[], box: Box): number[] {
  let points = [...ring];
  for (const [axis, bound, keepsAbove] of [
    [0, box[0], true],
    [1, box[1], true],
    [0, box[2], false],
    [1, box[3], false],
  ] as const) {
    points = clipHalf(points, axis, bound, keepsAbove);
  }
  return points.length >= 6 ? points : [];
}

function clipHalf(points: readonly number[], axis: 0 | 1, bound: number, keepsAbove: boolean): number[] {
  const out: number[] = [];
  const inside = (n: number): boolean =>
    keepsAbove ? points[n + axis]! >= bound : points[n + axis]! <= bound;
  for (let n = 0, before = points.length - 2; n < points.length; before = n, n += 2) {
    if (inside(n) !== inside(before)) {
      const share = (bound - points[before + axis]!) / (points[n + axis]! - points[before + axis]!);
      const x = points[before]! + share * (points[n]! - points[before]!);
      const y = points[before + 1]! + share * (points[n + 1]! - points[before + 1]!);
      out.push(axis === 0 ? bound : x, axis === 1 ? bound : y);
    }
    if (inside(n)) out.push(points[n]!, points[n + 1]!);
  }
  return out;
}
