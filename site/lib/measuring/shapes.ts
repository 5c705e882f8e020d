/** Readings that follow from where points were put alone: distance, angle, area. */
import { signedArea } from '../../../shared/polygon.ts';
import type { Contribution } from '../../../shared/uncertainty/budget.ts';
import { ofPointing } from '../../../shared/uncertainty/limits.ts';
import { fromPointing, fromScale, type ScaleKnown, stated } from './budget.ts';
import type { ReadingValue } from './reading.ts';

type Point = readonly [number, number];

const value = (name: string, unit: string, of: { value: number; expanded: number }): ReadingValue => ({
  ...{ name, unit, value: of.value, expanded: of.expanded, drawn: null },
});

/** @param pointUm what one point may be off by either way, micrometres */
export function distanceOf(a: Point, b: Point, pointUm: number, scale: ScaleKnown): ReadingValue[] {
  const [dx, dy] = [b[0] - a[0], b[1] - a[1]];
  const length = Math.hypot(dx, dy);
  const along = (v: number) => stated(v, [fromPointing(pointUm, 2), fromScale(v, scale)]);
  const list = [
    value('distance', 'um', along(length)),
    value('dx', 'um', along(dx)),
    value('dy', 'um', along(dy)),
  ];
  if (length === 0) return list;
  const angle = stated((Math.atan2(dy, dx) * 180) / Math.PI, [
    bare('pointing', (Math.SQRT2 * ofPointing(pointUm) * 180) / (Math.PI * length)),
  ]);
  return [...list, value('angle', 'deg', angle)];
}

const bare = (name: string, u: number): Contribution => ({
  ...{ name, kind: 'B', u, dof: null },
  how: 'A point is set to one screen pixel or one image pixel, whichever is larger, either way; rectangular.',
});

/** Angle at the second point, 0 to 180 degrees; null where an arm has no length. */
export function angleOf(a: Point, corner: Point, b: Point, pointUm: number): ReadingValue[] | null {
  const p = [a[0] - corner[0], a[1] - corner[1]] as const;
  const q = [b[0] - corner[0], b[1] - corner[1]] as const;
  const [lp, lq] = [Math.hypot(...p), Math.hypot(...q)];
  if (lp === 0 || lq === 0) return null;
  const angle = Math.atan2(Math.abs(p[0] * q[1] - p[1] * q[0]), p[0] * q[0] + p[1] * q[1]);
  // Each end moves its arm; the corner moves both, by the difference of the two normals over their lengths.
  const [np, nq] = [
    [-p[1] / lp ** 2, p[0] / lp ** 2],
    [-q[1] / lq ** 2, q[0] / lq ** 2],
  ] as const;
  const sensitivity = Math.sqrt(1 / lp ** 2 + 1 / lq ** 2 + (np[0] - nq[0]) ** 2 + (np[1] - nq[1]) ** 2);
  const u = (ofPointing(pointUm) * sensitivity * 180) / Math.PI;
  return [value('angle', 'deg', stated((angle * 180) / Math.PI, [bare('pointing', u)]))];
}

/**
 * Area and perimeter of an outline.
 * @source Shoelace formula; its derivatives give what each corner moves (JCGM 100:2008 5.1.2)
 */
export function areaOf(points: readonly Point[], pointUm: number, scale: ScaleKnown): ReadingValue[] | null {
  const count = points.length;
  if (count < 3) return null;
  const area = Math.abs(signedArea(points.flat()));
  if (area === 0) return null;
  let perimeter = 0;
  let areaSquares = 0;
  let perimeterSquares = 0;
  points.forEach((p, n) => {
    const before = points[(n + count - 1) % count]!;
    const after = points[(n + 1) % count]!;
    const [lb, la] = [
      Math.hypot(p[0] - before[0], p[1] - before[1]),
      Math.hypot(after[0] - p[0], after[1] - p[1]),
    ];
    perimeter += la;
    areaSquares += ((after[0] - before[0]) ** 2 + (after[1] - before[1]) ** 2) / 4;
    for (const axis of [0, 1] as const) {
      const along =
        (lb > 0 ? (p[axis] - before[axis]) / lb : 0) - (la > 0 ? (after[axis] - p[axis]) / la : 0);
      perimeterSquares += along ** 2;
    }
  });
  const u = ofPointing(pointUm);
  return [
    value(
      'area',
      'um2',
      stated(area, [bare('pointing', u * Math.sqrt(areaSquares)), fromScale(area, scale, 2)]),
    ),
    value(
      'perimeter',
      'um',
      stated(perimeter, [bare('pointing', u * Math.sqrt(perimeterSquares)), fromScale(perimeter, scale)]),
    ),
  ];
}

/** Whether an outline crosses itself: its area would not be what a reader sees. */
export function crossesItself(points: readonly Point[]): boolean {
  const count = points.length;
  const side = (a: Point, b: Point, c: Point) =>
    Math.sign((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]));
  for (let n = 0; n < count; n++)
    for (let m = n + 2; m < count; m++) {
      if (n === 0 && m === count - 1) continue;
      const [a, b] = [points[n]!, points[(n + 1) % count]!];
      const [c, d] = [points[m]!, points[(m + 1) % count]!];
      if (side(a, b, c) * side(a, b, d) < 0 && side(c, d, a) * side(c, d, b) < 0) return true;
    }
  return false;
}
