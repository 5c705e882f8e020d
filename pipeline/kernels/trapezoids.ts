/** A polygon as trapezoids with level sides, which fit each other edge to edge. */
import type { FlatPolygon } from '../../shared/polygon.ts';

/** Level sides at y0 and y1 (y0 < y1), reaching from left to right at each. */
export interface Trapezoid {
  readonly y0: number;
  readonly y1: number;
  readonly left0: number;
  readonly right0: number;
  readonly left1: number;
  readonly right1: number;
}

/** Beyond this many slanting edges their crossings are not looked for: a drawing does not cross itself. */
const CROSSINGS_SOUGHT = 400;

/**
 * The inside of a ring by the nonzero rule, slab by slab between the heights of its corners (and of the points where
 * it crosses itself). Exact for upright polygons; slanting sides are cut to double precision.
 */
export function trapezoidsOf(ring: FlatPolygon): Trapezoid[] {
  const edges: { xa: number; ya: number; xb: number; yb: number; way: number }[] = [];
  const levels = new Set<number>();
  for (let n = 0, m = ring.length - 2; n < ring.length; m = n, n += 2) {
    const [xa, ya, xb, yb] = [ring[m]!, ring[m + 1]!, ring[n]!, ring[n + 1]!];
    levels.add(yb);
    if (ya < yb) edges.push({ xa, ya, xb, yb, way: 1 });
    else if (ya > yb) edges.push({ xa: xb, ya: yb, xb: xa, yb: ya, way: -1 });
  }
  for (const y of crossings(edges)) levels.add(y);
  const heights = [...levels].sort((a, b) => a - b);
  const at = (e: (typeof edges)[number], y: number) =>
    e.xa === e.xb
      ? e.xa
      : y === e.ya
        ? e.xa
        : y === e.yb
          ? e.xb
          : e.xa + ((e.xb - e.xa) * (y - e.ya)) / (e.yb - e.ya);
  const found: Trapezoid[] = [];
  edges.sort((a, b) => a.ya - b.ya);
  for (let n = 1; n < heights.length; n++) {
    const [y0, y1] = [heights[n - 1]!, heights[n]!];
    const middle = (y0 + y1) / 2;
    const spanning = edges
      .filter((e) => e.ya <= y0 && e.yb >= y1)
      .map((e) => ({ e, x: at(e, middle) }))
      .sort((a, b) => a.x - b.x);
    let winding = 0;
    let left: (typeof edges)[number] | null = null;
    for (const { e } of spanning) {
      winding += e.way;
      if (winding !== 0) left ??= e;
      else if (left) {
        const t = { y0, y1, left0: at(left, y0), right0: at(e, y0), left1: at(left, y1), right1: at(e, y1) };
        if (t.right0 > t.left0 || t.right1 > t.left1) found.push(t);
        left = null;
      }
    }
  }
  return found;
}

function crossings(edges: readonly { xa: number; ya: number; xb: number; yb: number }[]): number[] {
  if (edges.filter((e) => e.xa !== e.xb).length === 0 || edges.length > CROSSINGS_SOUGHT) return [];
  const found: number[] = [];
  for (let i = 0; i < edges.length; i++) {
    for (let j = i + 1; j < edges.length; j++) {
      const [a, b] = [edges[i]!, edges[j]!];
      const [ux, uy, vx, vy] = [a.xb - a.xa, a.yb - a.ya, b.xb - b.xa, b.yb - b.ya];
      const turn = ux * vy - uy * vx;
      if (turn === 0) continue;
      const s = ((b.xa - a.xa) * vy - (b.ya - a.ya) * vx) / turn;
      const t = ((b.xa - a.xa) * uy - (b.ya - a.ya) * ux) / turn;
      if (s > 0 && s < 1 && t > 0 && t < 1) found.push(a.ya + s * uy);
    }
  }
  return found;
}
