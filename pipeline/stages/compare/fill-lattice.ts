/** The rows in which places lie: columns and rows of one grid, or a lattice whose rows may be staggered. */
import { leastPitch, off, stepsOf } from './fill-grid.ts';

/** On the lattice: within this share of the pitch, or so many pixels where that is more. */
const ON_LATTICE = 0.12;
export const ON_LATTICE_PX = 2;
/** Share of a group that must lie on its lattice. */
export const REGULAR = 0.75;

/** Columns and rows. */
export function gridLattice(
  points: readonly [number, number][],
  size: readonly [number, number],
): Lattice | null {
  const axes = [0, 1].map((k) =>
    stepsOf(
      points.map((p) => p[k]!),
      leastPitch(size[k]!),
      REGULAR,
    ),
  );
  const [x, y] = axes;
  if (!x || !y) return null;
  const on = points
    .map((_, n) => n)
    .filter((n) => [x, y].every((s, k) => off(points[n]![k]!, s) <= ON_LATTICE_PX));
  const nearest = (p: readonly [number, number], parts: number): [number, number] =>
    [x, y].map(
      (s, k) => s.origin + (Math.round(((p[k]! - s.origin) / s.pitch) * parts) / parts) * s.pitch,
    ) as [number, number];
  return { on, pitch: [x.pitch, y.pitch], nearest };
}

export interface Lattice {
  readonly on: readonly number[];
  readonly pitch: readonly [number, number];
  /** The point nearest to a point of the lattice with its steps divided into so many parts. */
  readonly nearest: (point: readonly [number, number], parts: number) => [number, number];
}

/** Neighbours per point whose displacements are tallied. */
const NEIGHBOURS = 8;

/** The lattice that most of the points lie on, its rows possibly staggered; null where no displacement recurs. */
export function findLattice(points: readonly [number, number][]): Lattice | null {
  const steps = displacements(points);
  if (steps.length === 0) return null;
  const bins: { x: number; y: number; count: number }[] = [];
  for (const [x, y] of steps) {
    const bin = bins.find((b) => Math.hypot(b.x - x, b.y - y) <= 2.5);
    if (!bin) bins.push({ x, y, count: 1 });
    else {
      bin.count++;
      bin.x += (x - bin.x) / bin.count;
      bin.y += (y - bin.y) / bin.count;
    }
  }
  const often = Math.max(2, 0.2 * Math.max(...bins.map((b) => b.count)));
  const strong = bins
    .filter((b) => b.count >= often)
    .sort((p, q) => Math.hypot(p.x, p.y) - Math.hypot(q.x, q.y));
  const a = strong[0];
  if (!a) return null;
  const b = strong.find((s) => Math.abs(s.x * a.y - s.y * a.x) > 0.3 * (a.x ** 2 + a.y ** 2));
  return b ? planeLattice(points, a, b) : lineLattice(points, a);
}

function displacements(points: readonly [number, number][]): [number, number][] {
  const out: [number, number][] = [];
  for (const p of points) {
    const near = points
      .map((q) => [q[0] - p[0], q[1] - p[1]] as [number, number])
      .filter(([x, y]) => (x !== 0 || y !== 0) && (y > 1.5 || (Math.abs(y) <= 1.5 && x > 0)))
      .sort((u, v) => Math.hypot(...u) - Math.hypot(...v));
    out.push(...near.slice(0, NEIGHBOURS / 2));
  }
  return out;
}

function planeLattice(
  points: readonly [number, number][],
  a: { x: number; y: number },
  b: { x: number; y: number },
): Lattice {
  let [ax, ay, bx, by] = [a.x, a.y, b.x, b.y];
  let origin = points[0]!;
  const coordinates = ([x, y]: readonly [number, number]): [number, number] => {
    const det = ax * by - ay * bx;
    const [dx, dy] = [x - origin[0], y - origin[1]];
    return [(dx * by - dy * bx) / det, (ax * dy - ay * dx) / det];
  };
  const miss = (p: readonly [number, number]): number => {
    const [u, v] = coordinates(p);
    const [du, dv] = [u - Math.round(u), v - Math.round(v)];
    return Math.hypot(du * ax + dv * bx, du * ay + dv * by);
  };
  const limit = (): number =>
    Math.max(ON_LATTICE_PX, ON_LATTICE * Math.min(Math.hypot(ax, ay), Math.hypot(bx, by)));
  // The point that most others agree with is the origin; then all that agree refine the vectors.
  let most = 0;
  for (const candidate of points.slice(0, 24)) {
    const before = origin;
    origin = candidate;
    const agree = points.filter((p) => miss(p) <= limit()).length;
    if (agree > most) most = agree;
    else origin = before;
  }
  for (let round = 0; round < 3; round++) {
    const on = points.filter((p) => miss(p) <= limit());
    const refined = refine(
      on,
      on.map((p) => coordinates(p).map(Math.round) as [number, number]),
    );
    if (!refined) break;
    [origin, [ax, ay], [bx, by]] = refined;
  }
  const on = points.map((_, n) => n).filter((n) => miss(points[n]!) <= limit());
  const pitch: [number, number] = [
    Math.max(Math.abs(ax), Math.abs(bx)),
    Math.max(Math.abs(ay), Math.abs(by)),
  ];
  const nearest = (p: readonly [number, number], parts: number): [number, number] => {
    const [u, v] = coordinates(p).map((c) => Math.round(c * parts) / parts) as [number, number];
    return [origin[0] + u * ax + v * bx, origin[1] + u * ay + v * by];
  };
  return { on, pitch, nearest };
}

/** Least-squares origin and vectors of a lattice from points and their numbers. */
function refine(
  points: readonly [number, number][],
  numbers: readonly [number, number][],
): [[number, number], [number, number], [number, number]] | null {
  const n = points.length;
  if (n < 4) return null;
  const mean = (f: (k: number) => number): number => points.reduce((s, _, k) => s + f(k), 0) / n;
  const [mu, mv] = [mean((k) => numbers[k]![0]), mean((k) => numbers[k]![1])];
  const uu = mean((k) => (numbers[k]![0] - mu) ** 2);
  const vv = mean((k) => (numbers[k]![1] - mv) ** 2);
  const uv = mean((k) => (numbers[k]![0] - mu) * (numbers[k]![1] - mv));
  const det = uu * vv - uv * uv;
  if (!(det > 1e-9)) return null;
  const out = [0, 1].map((axis) => {
    const m = mean((k) => points[k]![axis]!);
    const pu = mean((k) => (numbers[k]![0] - mu) * (points[k]![axis]! - m));
    const pv = mean((k) => (numbers[k]![1] - mv) * (points[k]![axis]! - m));
    const alongU = (pu * vv - pv * uv) / det;
    const alongV = (pv * uu - pu * uv) / det;
    return [m - alongU * mu - alongV * mv, alongU, alongV] as const;
  });
  const [x, y] = out as [readonly [number, number, number], readonly [number, number, number]];
  return [
    [x[0], y[0]],
    [x[1], y[1]],
    [x[2], y[2]],
  ];
}

/** A single row: the second vector is taken across the first. */
function lineLattice(points: readonly [number, number][], a: { x: number; y: number }): Lattice {
  const length = Math.hypot(a.x, a.y);
  const origin = points[0]!;
  const miss = (p: readonly [number, number]): number => {
    const [dx, dy] = [p[0] - origin[0], p[1] - origin[1]];
    const along = (dx * a.x + dy * a.y) / length;
    const across = (dx * a.y - dy * a.x) / length;
    return Math.hypot(along - Math.round(along / length) * length, across);
  };
  const limit = Math.max(ON_LATTICE_PX, ON_LATTICE * length);
  const on = points.map((_, n) => n).filter((n) => miss(points[n]!) <= limit);
  const nearest = ([x, y]: readonly [number, number], parts: number): [number, number] => {
    const along = ((x - origin[0]) * a.x + (y - origin[1]) * a.y) / length ** 2;
    const step = Math.round(along * parts) / parts;
    return [origin[0] + step * a.x, origin[1] + step * a.y];
  };
  return { on, pitch: [Math.abs(a.x), Math.abs(a.y)], nearest };
}
