/** Fill: shapes that the foundry adds to even out the metal. Alike, in rows, touching nothing that is drawn. */
import { median } from '../../kernels/statistics.ts';
import type { Difference } from './box-fit.ts';
import { grow, type PixelBox } from './canvas.ts';
import { leastPitch, off, stepsOf } from './fill-grid.ts';

/** Fewer alike shapes than this are not called fill. */
const LEAST_MEMBERS = 4;
/** Alike: sides within this many pixels, or this share where that is more. */
const ALIKE_PX = 2;
const ALIKE_SHARE = 0.15;
/** On the lattice: within this share of the pitch, or so many pixels where that is more. */
const ON_LATTICE = 0.12;
const ON_LATTICE_PX = 2;
/** Share of a group that must lie on its lattice. */
const REGULAR = 0.75;
/** So many alike shapes are fill, in rows or not. */
const MANY = 40;
/** Nothing drawn within this many pixels. */
const CLEAR_PX = 2;

export interface FillGroup {
  readonly members: readonly Difference[];
  /** Median sides of the members, pixels. */
  readonly sizePx: readonly [number, number];
  /** Spacing along columns and rows, pixels; equal to the size where no lattice was found. */
  readonly pitchPx: readonly [number, number];
}

export const centreOf = (box: PixelBox): [number, number] => [(box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2];

/** What is asked about one layer: metal where none is drawn, and what is drawn. */
export interface FillCandidates {
  readonly extra: readonly Difference[];
  /** Coverage by all that is drawn, width pixels to the row. */
  readonly known: Float32Array;
}

/**
 * Fill of every layer: what lies in rows first, then what is as large as fill known from this layer or another, or lies
 * in line with one of its kind, even where the field shows only one or two of them.
 * @param judged 1 where differences are looked for
 */
export function groupFill(
  layers: readonly FillCandidates[],
  judged: Uint8Array,
  width: number,
): FillGroup[][] {
  const clear = layers.map(({ extra, known }) => extra.filter((d) => clearOf(d, known, width)));
  const cut = (d: Difference): boolean => cutByRim(d, judged, width);
  const groups = clear.map((extra) => groupRows(extra, cut));
  const kinds = groups.flat();
  return groups.map((own, n) => {
    const taken = new Set(own.flatMap((g) => g.members));
    const rest = clear[n]!.filter((d) => !taken.has(d));
    return withLone(own, kinds, rest, cut);
  });
}

function groupRows(extra: readonly Difference[], cut: (d: Difference) => boolean): FillGroup[] {
  let rest = [...extra];
  const groups: FillGroup[] = [];
  for (;;) {
    const seed = mostAlike(rest);
    if (!seed) return groups;
    const { alike } = seed;
    const centres = alike.map(centreOf);
    const lattice = gridLattice(centres, seed.size) ?? findLattice(centres);
    if (lattice && lattice.on.length >= LEAST_MEMBERS && lattice.on.length >= REGULAR * alike.length) {
      // What lies within a place of the lattice belongs to it too: fill at the edge of the field is cut.
      const members = rest.filter(
        (d) =>
          (within(d, lattice.nearest(centreOf(d), 1), seed.size) || between(d, lattice, seed.size)) &&
          (cut(d) || sameArea(d, alike, LOOSE)),
      );
      groups.push({ members, sizePx: seed.size, pitchPx: lattice.pitch });
      rest = rest.filter((d) => !members.includes(d));
    } else {
      if (alike.length >= MANY)
        groups.push({ members: alike, sizePx: seed.size, pitchPx: lattice?.pitch ?? seed.size });
      rest = rest.filter((d) => !alike.includes(d));
    }
  }
}

/** A rectangle of full metal: a blob leaves a good part of its box empty. */
const FULL = 0.85;
/** Where the size says fill already. */
const NEARLY_FULL = 0.7;

/** Adds single shapes to the fill they are like. */
function withLone(
  own: readonly FillGroup[],
  kinds: readonly FillGroup[],
  rest: readonly Difference[],
  cut: (d: Difference) => boolean,
): FillGroup[] {
  const out = own.map((g) => ({ ...g, members: [...g.members] }));
  const put = (d: Difference, sizePx: FillGroup['sizePx'], pitchPx: FillGroup['pitchPx']): void => {
    const known = out.find((g) => likeSize(d, g.sizePx, cut(d)));
    if (known) known.members.push(d);
    else out.push({ members: [d], sizePx, pitchPx });
  };
  const left: Difference[] = [];
  for (const d of rest) {
    if (d.amplitude < NEARLY_FULL) continue;
    const whole = !cut(d);
    const like =
      own.find((g) => likeSize(d, g.sizePx, !whole) && (!whole || sameArea(d, g.members, CLOSE))) ??
      // On the word of another layer only what is whole and as large to the pixel.
      kinds.find((g) => whole && sameSides(d, g.sizePx) && sameArea(d, g.members, EXACT));
    if (like) put(d, like.sizePx, like.pitchPx);
    else if (d.amplitude >= (cut(d) ? NEARLY_FULL : FULL)) left.push(d);
  }
  // Two of one size in one row or one column are no accident of two blobs.
  const alike = (a: Difference, b: Difference): boolean =>
    a !== b && square(a) && !cut(a) && likeSize(b, sides(a), cut(b)) && inLine(a, b);
  const pairs = left.filter((d) => left.some((o) => alike(o, d) || alike(d, o)));
  for (const d of pairs) {
    const other = pairs.find((o) => alike(o, d) || alike(d, o))!;
    const [p, q] = [centreOf(d), centreOf(other)];
    const step = Math.max(Math.abs(p[0] - q[0]), Math.abs(p[1] - q[1]));
    put(d, sides(cut(d) ? other : d), [step, step]);
  }
  for (const d of left) {
    const known = out.find((g) => likeSize(d, g.sizePx, cut(d)) && g.members.some((o) => inLine(o, d)));
    if (known && !known.members.includes(d)) known.members.push(d);
  }
  return out;
}

/** Agreement of sides, pixels and share: on a place of the rows; off them; with the fill of another layer. */
const LOOSE = [1.5, 0.15] as const;
const CLOSE = [1, 0.08] as const;
const EXACT = [0.6, 0.05] as const;

/** Sides by the metal found, finer than whole pixels: a blob is smaller than the box around it. */
function sameArea(
  d: Difference,
  others: readonly Difference[],
  [px, share]: readonly [number, number],
): boolean {
  const side = (o: Difference): number => Math.sqrt(o.areaPx * Math.min(o.amplitude, 1.2));
  const usual = median(others.map(side));
  return Math.abs(side(d) - usual) <= Math.max(px, share * usual);
}

const square = (d: PixelBox): boolean => Math.abs(sides(d)[0] - sides(d)[1]) <= 1;

function inLine(a: PixelBox, b: PixelBox): boolean {
  const [p, q] = [centreOf(a), centreOf(b)];
  return Math.min(Math.abs(p[0] - q[0]), Math.abs(p[1] - q[1])) <= 1;
}

const sameSides = (d: PixelBox, size: readonly [number, number]): boolean =>
  sides(d).every((s, k) => Math.abs(s - size[k]!) <= 1);

/** As large as fill; where the field cuts it off, as wide on one side and no wider on the other. */
function likeSize(d: PixelBox, size: readonly [number, number], cut: boolean): boolean {
  const near = sides(d).map((s, k) => Math.abs(s - size[k]!) <= tolerance(size[k]!));
  if (near[0] && near[1]) return true;
  return cut && near.some((ok, k) => ok && sides(d)[1 - k]! < size[1 - k]!);
}

export function cutByRim(d: PixelBox, judged: Uint8Array, width: number): boolean {
  const { x0, y0, x1, y1 } = grow(d, 2);
  for (let y = Math.max(0, y0); y < y1; y++)
    for (let x = Math.max(0, x0); x < Math.min(x1, width); x++) if (!judged[y * width + x]) return true;
  return false;
}

/** Where fill is sparse, the steps found are multiples of the true ones: a shape of the full size may lie between. */
function between(d: Difference, lattice: Lattice, size: readonly [number, number]): boolean {
  const [x, y] = centreOf(d);
  return (
    sides(d).every((s, k) => Math.abs(s - size[k]!) <= ALIKE_PX) &&
    [2, 3].some((parts) => {
      const [u, v] = lattice.nearest([x, y], parts);
      return Math.max(Math.abs(u - x), Math.abs(v - y)) <= ON_LATTICE_PX / 2;
    })
  );
}

function within(
  box: PixelBox,
  [x, y]: readonly [number, number],
  [w, h]: readonly [number, number],
): boolean {
  const [tx, ty] = [tolerance(w), tolerance(h)];
  return (
    box.x0 >= x - w / 2 - tx &&
    box.x1 <= x + w / 2 + tx &&
    box.y0 >= y - h / 2 - ty &&
    box.y1 <= y + h / 2 + ty
  );
}

const sides = (d: PixelBox): [number, number] => [d.x1 - d.x0, d.y1 - d.y0];
const tolerance = (side: number): number => Math.max(ALIKE_PX, ALIKE_SHARE * side);

function clearOf(box: PixelBox, known: Float32Array, width: number): boolean {
  const { x0, y0, x1, y1 } = grow(box, CLEAR_PX);
  for (let y = Math.max(0, y0); y < y1; y++)
    for (let x = Math.max(0, x0); x < Math.min(x1, width); x++) if (known[y * width + x]! > 0.3) return false;
  return true;
}

/** The shape with the most others like it, and these; null where no shape has enough. */
function mostAlike(shapes: readonly Difference[]): { alike: Difference[]; size: [number, number] } | null {
  const tally = new Map<string, Difference[]>();
  for (const d of shapes) {
    const key = sides(d).join('x');
    const entry = tally.get(key);
    if (entry) entry.push(d);
    else tally.set(key, [d]);
  }
  let best: Difference[] = [];
  for (const key of tally.keys()) {
    const [w, h] = key.split('x').map(Number) as [number, number];
    const near: Difference[] = [];
    for (const [other, members] of tally) {
      const [ow, oh] = other.split('x').map(Number) as [number, number];
      if (Math.abs(ow - w) <= tolerance(w) && Math.abs(oh - h) <= tolerance(h)) near.push(...members);
    }
    if (near.length > best.length) best = near;
  }
  if (best.length < LEAST_MEMBERS) return null;
  return { alike: best, size: [median(best.map((d) => sides(d)[0])), median(best.map((d) => sides(d)[1]))] };
}

/** Columns and rows. */
function gridLattice(points: readonly [number, number][], size: readonly [number, number]): Lattice | null {
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

interface Lattice {
  readonly on: readonly number[];
  readonly pitch: readonly [number, number];
  /** The point nearest to a point of the lattice with its steps divided into so many parts. */
  readonly nearest: (point: readonly [number, number], parts: number) => [number, number];
}

/** Neighbours per point whose displacements are tallied. */
const NEIGHBOURS = 8;

/** The lattice that most of the points lie on, its rows possibly staggered; null where no displacement recurs. */
function findLattice(points: readonly [number, number][]): Lattice | null {
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
