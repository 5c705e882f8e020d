/** Fill: shapes that the foundry adds to even out the metal. Alike, in rows, touching nothing that is drawn. */
import { median } from '../../kernels/statistics.ts';
import type { Difference } from './box-fit.ts';
import { grow, type PixelBox } from './canvas.ts';
import { findLattice, gridLattice, type Lattice, ON_LATTICE_PX, REGULAR } from './fill-lattice.ts';

/** Fewer alike shapes than this are not called fill. */
const LEAST_MEMBERS = 4;
/** Alike: sides within this many pixels, or this share where that is more. */
const ALIKE_PX = 2;
const ALIKE_SHARE = 0.15;
/** From so many on, the rows of a group are sure. */
const SURE = 8;
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
      // What lies within a place of the lattice belongs to it too: fill at the edge of the field is cut. Where many lie
      // so, the place says more than a size that noise has made a little larger.
      const [room, larger] = lattice.on.length >= SURE ? [1.5, WIDE] : [1, LOOSE];
      const members = rest.filter(
        (d) =>
          (within(d, lattice.nearest(centreOf(d), 1), seed.size, room) || between(d, lattice, seed.size)) &&
          (cut(d) || sameArea(d, alike, LOOSE, larger)),
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
/** Wide shapes fade where the cone of directions was not seen; so much is left of them. */
const FADED = 0.55;

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
  const faded: Difference[] = [];
  const told = new Map<Difference, FillGroup>();
  for (const d of rest) {
    if (d.amplitude < FADED) continue;
    const whole = !cut(d);
    if (d.amplitude < NEARLY_FULL) {
      if (whole) faded.push(d);
      continue;
    }
    const like = own.find((g) => likeSize(d, g.sizePx, !whole) && (!whole || sameArea(d, g.members, CLOSE)));
    // On the word of another layer only what is whole and as large to the pixel.
    const other = kinds.find((g) => whole && sameSides(d, g.sizePx) && sameArea(d, g.members, EXACT));
    if (like) {
      put(d, like.sizePx, like.pitchPx);
      continue;
    }
    if (other) told.set(d, other);
    if (d.amplitude >= (cut(d) ? NEARLY_FULL : FULL)) left.push(d);
    else faded.push(d);
  }
  // Two of one size in one row or one column are no accident of two blobs.
  const alike = (a: Difference, b: Difference): boolean =>
    a !== b && square(a) && !cut(a) && likeSize(b, sides(a), cut(b)) && inLine(a, b);
  // Of faded ones, only what is as large to the pixel.
  const twins = (a: Difference, b: Difference): boolean =>
    (alike(a, b) || alike(b, a)) && ((left.includes(a) && left.includes(b)) || sameSides(b, sides(a)));
  const all = [...left, ...faded];
  const pairs = all.filter((d) => all.some((o) => twins(o, d)));
  for (const d of pairs) {
    const other = pairs.find((o) => twins(o, d))!;
    const [p, q] = [centreOf(d), centreOf(other)];
    const step = Math.max(Math.abs(p[0] - q[0]), Math.abs(p[1] - q[1]));
    put(d, sides(cut(d) ? other : d), [step, step]);
  }
  // A layer whose own fill is of another size is not filled as the other one is.
  const alone = out.length === 0;
  for (const [d, { sizePx, pitchPx }] of told)
    if (!pairs.includes(d) && (alone || out.some((g) => likeSize(d, g.sizePx, false))))
      put(d, sizePx, pitchPx);
  for (const d of left) {
    const known = out.find((g) => likeSize(d, g.sizePx, cut(d)) && g.members.some((o) => inLine(o, d)));
    if (known && !out.some((g) => g.members.includes(d))) known.members.push(d);
  }
  return out;
}

/** Agreement of sides, pixels and share: for larger ones on a place of rows with many members; on a place of any rows; off them; with the fill of another layer. */
const WIDE = [3, 0.3] as const;
const LOOSE = [1.5, 0.15] as const;
const CLOSE = [1, 0.08] as const;
const EXACT = [0.6, 0.05] as const;

/** Sides by the metal found, finer than whole pixels: a blob is smaller than the box around it. */
function sameArea(
  d: Difference,
  others: readonly Difference[],
  [px, share]: readonly [number, number],
  larger: readonly [number, number] = [px, share],
): boolean {
  const side = (o: Difference): number => Math.sqrt(o.areaPx * Math.min(o.amplitude, 1.2));
  const usual = median(others.map(side));
  const [most, mostShare] = side(d) > usual ? larger : [px, share];
  return Math.abs(side(d) - usual) <= Math.max(most, mostShare * usual);
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
  room: number,
): boolean {
  const [tx, ty] = [room * tolerance(w), room * tolerance(h)];
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
