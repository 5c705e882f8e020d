/**
 * Corners of TRAPEZOID, CTRAPEZOID and CIRCLE shapes relative to their reference point, counter-clockwise.
 *
 * @source SEMI P39 (OASIS), sections 28 to 30 and the figure of CTRAPEZOID kinds: from memory, and the same in a public
 * C++ translation library between OASIS and GDSII.
 */

/** Kinds 0 to 25 in words of width w and height h, "x,y" per corner. */
const KINDS = [
  '0,0 w,0 w-h,h 0,h',
  '0,0 w-h,0 w,h 0,h',
  '0,0 w,0 w,h h,h',
  'h,0 w,0 w,h 0,h',
  '0,0 w,0 w-h,h h,h',
  'h,0 w-h,0 w,h 0,h',
  '0,0 w-h,0 w,h h,h',
  'h,0 w,0 w-h,h 0,h',
  '0,0 w,0 w,h-w 0,h',
  '0,0 w,0 w,h 0,h-w',
  '0,0 w,w w,h 0,h',
  '0,w w,0 w,h 0,h',
  '0,0 w,w w,h-w 0,h',
  '0,w w,0 w,h 0,h-w',
  '0,0 w,w w,h 0,h-w',
  '0,w w,0 w,h-w 0,h',
  '0,0 w,0 0,w',
  '0,0 w,w 0,w',
  '0,0 w,0 w,w',
  'w,0 w,w 0,w',
  '0,0 2h,0 h,h',
  'h,0 2h,h 0,h',
  '0,0 w,w 0,2w',
  'w,0 w,2w 0,w',
  '0,0 w,0 w,h 0,h',
  '0,0 w,0 w,w 0,w',
];
export const CTRAPEZOID_KINDS = KINDS.length;

/** Least multiple of h that w has to be, or of w that h has to be, so that no edges cross. */
const WIDE = [1, 1, 1, 1, 2, 2, 1, 1];
const TALL = [1, 1, 1, 1, 2, 2, 1, 1];

/** Per kind: factors of w and h in x and in y, four numbers per corner. */
const FACTORS = KINDS.map((kind) => kind.split(/[ ,]/).flatMap(factorsOf));

function factorsOf(term: string): [number, number] {
  const factors: [number, number] = [0, 0];
  for (const [, sign, times, side] of term.matchAll(/(-?)(\d?)([wh])/g)) {
    factors[side === 'w' ? 0 : 1] += (sign === '-' ? -1 : 1) * Number(times || '1');
  }
  return factors;
}

export const needsWidth = (kind: number): boolean => kind !== 20 && kind !== 21;
export const needsHeight = (kind: number): boolean => kind < 16 || kind === 20 || kind === 21 || kind === 24;

/** What has to hold of w and h, or undefined where it does. */
export function brokenRule(kind: number, w: number, h: number): string | undefined {
  if (kind < 8 && w < WIDE[kind] * h) return `a width of at least ${WIDE[kind]} x the height ${h}`;
  if (kind >= 8 && kind < 16 && h < TALL[kind - 8] * w) {
    return `a height of at least ${TALL[kind - 8]} x the width ${w}`;
  }
  return undefined;
}

/** Corners of a CTRAPEZOID into `xy`. @returns how many: 3 or 4 */
export function compactTrapezoid(kind: number, w: number, h: number, xy: Float64Array): number {
  const factors = FACTORS[kind];
  for (let n = 0; 2 * n < factors.length; n++) xy[n] = factors[2 * n] * w + factors[2 * n + 1] * h;
  return factors.length >> 2;
}

/**
 * Corners of a TRAPEZOID into `xy`. Horizontal: `a` leads from the lower left corner to the upper left one along x,
 * `b` from the lower right to the upper right. Upright: `a` leads from the lower right corner to the lower left one
 * along y, `b` from the upper right to the upper left.
 *
 * @returns 4, or 0 where the edges would cross
 */
export function trapezoid(
  isUpright: boolean,
  w: number,
  h: number,
  a: number,
  b: number,
  xy: Float64Array,
): number {
  const span = isUpright ? h : w;
  if (Math.abs(a) > span || Math.abs(b) > span || Math.abs(a - b) > span) return 0;
  const a0 = Math.max(-a, 0);
  const a1 = Math.max(a, 0);
  const b0 = span - Math.max(b, 0);
  const b1 = span - Math.max(-b, 0);
  xy.set(isUpright ? [0, a1, w, a0, w, b0, 0, b1] : [a0, 0, b0, 0, b1, h, a1, h]);
  return 4;
}

/** More chords than this are not made: the error is then below 1/13000 of the radius. */
const MAXIMUM_CHORDS = 256;

/**
 * A polygon in a circle, with corners where the circle meets its axes, so that the extent is exact. The error of a
 * chord, r (1 - cos(a / 2)), is below 1 dbu and below 1/64 of the radius, up to `MAXIMUM_CHORDS`.
 */
export function circle(radius: number): Float64Array {
  const error = Math.min(1, radius / 64);
  const needed = Math.PI / Math.acos(1 - error / radius);
  const quarter = Math.min(MAXIMUM_CHORDS / 4, Math.floor(needed / 4) + 1);
  const xy = new Float64Array(8 * quarter);
  for (let n = 0; n < quarter; n++) {
    const angle = (Math.PI * n) / (2 * quarter);
    const x = radius * Math.cos(angle);
    const y = radius * Math.sin(angle);
    xy.set([x, y], 2 * n);
    xy.set([0 - y, x], 2 * (n + quarter));
    xy.set([0 - x, 0 - y], 2 * (n + 2 * quarter));
    xy.set([y, 0 - x], 2 * (n + 3 * quarter));
  }
  return xy;
}
