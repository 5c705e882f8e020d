/**
 * A smooth displacement of the whole field from shifts of its patches, without a formula for it: cubic B-splines on an
 * even grid, held together by a penalty on second differences. Powers of x and y follow what they were made for, and
 * run away in the corners where no patch lies; these go on straight there.
 * @source Eilers and Marx, Statistical Science 11, 89 (1996): P-splines; in two dimensions with mixed differences too.
 */
import { solveSymmetric } from '../../../kernels/least-squares.ts';
import { median } from '../../../kernels/statistics.ts';
import { tukeyWeights } from './robust-fit.ts';

/** What one patch of one layer says. */
export interface Pull {
  /** Place in the field, -1 to 1 where it reaches farthest. */
  readonly u: number;
  readonly v: number;
  /** Shift along x and y, any unit. */
  readonly shift: readonly [number, number];
  /** Inverse variances of both, up to a common factor. */
  readonly weight: readonly [number, number];
  /** Pulls of one group share an offset of their own: layers are not aligned to each other perfectly. */
  readonly group: number;
}

/** A field in the unit of the shifts; without its affine part, which belongs to the map. */
export type SoftField = (u: number, v: number) => readonly [number, number];

/** Splines reach this far, and so do their knots. */
export const SOFT_REACH = 1.3;
const INTERVALS = 10;
const SIDE = INTERVALS + 3;
const COUNT = SIDE * SIDE;
/** Stiffness that is tried, in typical weights of a spline. */
const STIFFNESS = [0.01, 0.1, 1, 10, 100, 1000] as const;
/** Squares of the chequerboard that is fitted in halves. */
const BOARD = 1 / 3;
/** Fewer pulls than this fix no field. */
const LEAST_PULLS = 24;
const ROUNDS = 8;
/** Rounds while a stiffness is tried. */
const TRIAL_ROUNDS = 3;

/**
 * The stiffness is the one by which each half of a chequerboard foretells the other half best.
 * @returns null where there are too few pulls to tell
 */
export function softField(pulls: readonly Pull[]): SoftField | null {
  const axes = [0, 1].map((axis) => fitAxis(pulls, axis as 0 | 1));
  const [x, y] = axes;
  if (!x || !y) return null;
  return (u, v) => [valueAt(x, u, v), valueAt(y, u, v)];
}

function fitAxis(pulls: readonly Pull[], axis: 0 | 1): Float64Array | null {
  const heard = pulls.filter((pull) => pull.weight[axis] > 0);
  if (heard.length < LEAST_PULLS) return null;
  const half = (pull: Pull): number => (Math.floor(pull.u / BOARD) + Math.floor(pull.v / BOARD)) & 1;
  let best: { stiffness: number; squares: number } | null = null;
  for (const stiffness of STIFFNESS) {
    let squares = 0;
    for (const side of [0, 1]) {
      const fit = spline(
        heard.filter((pull) => half(pull) === side),
        axis,
        stiffness,
        TRIAL_ROUNDS,
      );
      if (!fit) return null;
      squares += foretold(
        heard.filter((pull) => half(pull) !== side),
        axis,
        fit,
      );
    }
    if (!best || squares < best.squares) best = { stiffness, squares };
  }
  const fit = spline(heard, axis, best!.stiffness, ROUNDS);
  return fit && withoutAffine(fit.coefficients, heard, axis);
}

interface Spline {
  readonly coefficients: Float64Array;
  readonly offsets: ReadonlyMap<number, number>;
}

/** Squares of what is not foretold; no pull counts for more than nine typical ones. */
function foretold(pulls: readonly Pull[], axis: 0 | 1, { coefficients, offsets }: Spline): number {
  const left = pulls.map(
    ({ u, v, shift, weight, group }) =>
      weight[axis] * (shift[axis] - valueAt(coefficients, u, v) - (offsets.get(group) ?? 0)) ** 2,
  );
  const most = 9 * median(left);
  return left.reduce((sum, square) => sum + Math.min(square, most), 0);
}

function spline(pulls: readonly Pull[], axis: 0 | 1, stiffness: number, rounds: number): Spline | null {
  const groups = [...new Set(pulls.map((pull) => pull.group))];
  const unknowns = COUNT + groups.length;
  const typical = pulls.reduce((sum, pull) => sum + pull.weight[axis], 0) / COUNT;
  if (!(typical > 0)) return null;
  const rows = pulls.map((pull) => {
    const { at, value } = splinesAt(pull.u, pull.v);
    return { at: [...at, COUNT + groups.indexOf(pull.group)], value: [...value, 1] };
  });
  const prior = penalty(unknowns, stiffness * typical);
  // Offsets and a shift of the whole field say the same: the offsets are held near nothing.
  for (let a = COUNT; a < unknowns; a++) prior[a * unknowns + a]! += 0.1 * typical;
  let kept = pulls.map(() => 1);
  let solution: Float64Array = new Float64Array(unknowns);
  for (let round = 0; round < rounds; round++) {
    const normal = prior.slice();
    const right = new Float64Array(unknowns);
    rows.forEach(({ at, value }, n) => {
      const w = pulls[n]!.weight[axis] * kept[n]!;
      if (w === 0) return;
      // Numbers of splines rise along a row: only the lower triangle is asked for.
      for (let a = 0; a < at.length; a++) {
        const weighted = w * value[a]!;
        right[at[a]!]! += weighted * pulls[n]!.shift[axis];
        for (let b = 0; b <= a; b++) normal[at[a]! * unknowns + at[b]!]! += weighted * value[b]!;
      }
    });
    solution = solveSymmetric(normal, right);
    const scaled = rows.map(({ at, value }, n) => {
      let left = pulls[n]!.shift[axis];
      for (let a = 0; a < at.length; a++) left -= value[a]! * solution[at[a]!]!;
      return Math.sqrt(pulls[n]!.weight[axis]) * Math.abs(left);
    });
    const scale = median(scaled) / 0.6745 || 1e-12;
    kept = tukeyWeights(scaled, scale);
  }
  return {
    coefficients: solution.slice(0, COUNT),
    offsets: new Map(groups.map((group, n) => [group, solution[COUNT + n]!])),
  };
}

/** Second differences along, across and mixed, squared. */
function penalty(unknowns: number, weight: number): Float64Array {
  const normal = new Float64Array(unknowns * unknowns);
  const add = (terms: readonly (readonly [number, number])[], factor: number): void => {
    for (const [a, p] of terms)
      for (const [b, q] of terms) normal[a * unknowns + b]! += factor * weight * p * q;
  };
  for (let r = 0; r < SIDE; r++) {
    for (let c = 0; c < SIDE; c++) {
      const at = r * SIDE + c;
      // A trace of it holds corners that nothing else does.
      normal[at * unknowns + at]! += 1e-7 * weight;
      const line = (step: number): readonly (readonly [number, number])[] => [
        [at - step, 1],
        [at, -2],
        [at + step, 1],
      ];
      if (c > 0 && c < SIDE - 1) add(line(1), 1);
      if (r > 0 && r < SIDE - 1) add(line(SIDE), 1);
      const square = [
        [at, 1],
        [at - 1, -1],
        [at - SIDE, -1],
        [at - SIDE - 1, 1],
      ] as const;
      if (c > 0 && r > 0) add(square, 2);
    }
  }
  return normal;
}

/** The sixteen splines that are not zero at a place, by rising number, with their values. */
function splinesAt(u: number, v: number): { readonly at: number[]; readonly value: number[] } {
  const [column, across] = cubics(u);
  const [row, down] = cubics(v);
  const at: number[] = [];
  const value: number[] = [];
  for (let r = 0; r < 4; r++) {
    for (let c = 0; c < 4; c++) {
      at.push((row + r) * SIDE + column + c);
      value.push(down[r]! * across[c]!);
    }
  }
  return { at, value };
}

/** Cubic B-splines on even knots. @source de Boor, A Practical Guide to Splines, 1978. */
function cubics(at: number): [number, [number, number, number, number]] {
  const t = Math.min(INTERVALS - 1e-9, Math.max(0, ((at + SOFT_REACH) / (2 * SOFT_REACH)) * INTERVALS));
  const first = Math.floor(t);
  const s = t - first;
  return [
    first,
    [
      (1 - s) ** 3 / 6,
      (3 * s ** 3 - 6 * s ** 2 + 4) / 6,
      (-3 * s ** 3 + 3 * s ** 2 + 3 * s + 1) / 6,
      s ** 3 / 6,
    ],
  ];
}

function valueAt(coefficients: Float64Array, u: number, v: number): number {
  const { at, value } = splinesAt(u, v);
  return at.reduce((sum, a, n) => sum + value[n]! * coefficients[a]!, 0);
}

/** Takes off the plane that fits the field best where the pulls lie. */
function withoutAffine(coefficients: Float64Array, pulls: readonly Pull[], axis: 0 | 1): Float64Array {
  const normal = new Float64Array(9);
  const right = new Float64Array(3);
  for (const { u, v, weight } of pulls) {
    const terms = [1, u, v];
    const value = valueAt(coefficients, u, v);
    for (let a = 0; a < 3; a++) {
      right[a]! += weight[axis] * terms[a]! * value;
      for (let b = 0; b < 3; b++) normal[3 * a + b]! += weight[axis] * terms[a]! * terms[b]!;
    }
  }
  const [constant = 0, alongU = 0, alongV = 0] = solveSymmetric(normal, right);
  // A plane has the plane's own values as coefficients, at the middles of the splines.
  const middle = (n: number): number => -SOFT_REACH + ((n - 1) * 2 * SOFT_REACH) / INTERVALS;
  return coefficients.map(
    (value, n) => value - constant - alongU * middle(n % SIDE) - alongV * middle(Math.floor(n / SIDE)),
  );
}
