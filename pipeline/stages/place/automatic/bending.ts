/** A smooth bending of the field on top of the affine map, where the patches demand one. */
import type { Warp } from '../../../../shared/artefacts/placement.ts';
import type { Cell } from './patches.ts';
import { type RobustFit, type Row, robustFit } from './robust-fit.ts';

/** Where the field lies: middle and half of its longer side, micrometres. */
export interface Field {
  readonly x: number;
  readonly y: number;
  readonly half: number;
}

/** Powers of x and y, degree two and three: what an affine map cannot do. */
export const POWERS: readonly (readonly [number, number])[] = [
  [2, 0],
  [1, 1],
  [0, 2],
  [3, 0],
  [2, 1],
  [1, 2],
  [0, 3],
];
/** Points of the warp's grid, across and down. */
const POINTS = 13;
/** The grid reaches this far beyond the field, so that its border is never met inside. */
const REACH = 1.3;
/** A bending is kept where cells that had no part in fitting it lie this much nearer: share of their squares. */
const LEAST_GAIN = 0.12;
/** Fewer cells than this fix no bending. */
const LEAST_CELLS = 24;
/** Ridge on the powers, in typical cells. */
const RIDGE = 0.3;

export interface Bending {
  readonly warp: Warp;
  /** By how much cells left out of the fit came nearer, share of their squares. */
  readonly gain: number;
}

/**
 * Fits both halves of a chequerboard of patches with an affine map and with powers on top, and asks each fit what it
 * says of the other half: a bending that is only noise makes that worse.
 * @param zUm height in the middle of the cells
 * @returns null where an affine map does as well
 */
export function findBending(cells: readonly Cell[], field: Field, zUm: number): Bending | null {
  const known = cells.filter((cell) => cell.shiftUm !== null);
  if (known.length < LEAST_CELLS) return null;
  let plain = 0;
  let bent = 0;
  for (const half of [0, 1]) {
    const learn = known.filter((cell) => side(cell, field) === half);
    const ask = known.filter((cell) => side(cell, field) !== half);
    const affine = fitCells(learn, field, zUm, false);
    const powers = fitCells(learn, field, zUm, true);
    if (!affine || !powers) return null;
    plain += squares(ask, field, zUm, affine, false);
    bent += squares(ask, field, zUm, powers, true);
  }
  const gain = 1 - bent / plain;
  if (!(gain > LEAST_GAIN)) return null;
  const all = fitCells(known, field, zUm, true);
  return all && { warp: warpOf(all, field), gain };
}

const side = (cell: Cell, field: Field): number =>
  (Math.floor((cell.xUm - field.x) / (field.half / 3)) +
    Math.floor((cell.yUm - field.y) / (field.half / 3))) &
  1;

function basis(x: number, y: number, z: number, withPowers: boolean): number[] {
  const linear = [1, x, y, z];
  return withPowers ? [...linear, ...POWERS.map(([a, b]) => x ** a * y ** b)] : linear;
}

const placeOf = (cell: Cell, field: Field, zUm: number): [number, number, number] => [
  (cell.xUm - field.x) / field.half,
  (cell.yUm - field.y) / field.half,
  (cell.zUm - zUm) / field.half,
];

/** Two rows per cell, weighted by the root of its sureness: an edge one way speaks for that way only. */
function rowsOf(cell: Cell, terms: readonly number[]): Row[] {
  const [xx, xy, yy] = cell.sureness;
  const [dx, dy] = cell.shiftUm!;
  const l11 = Math.sqrt(xx);
  const l21 = xy / l11;
  const l22 = Math.sqrt(Math.max(0, yy - l21 * l21));
  const none = terms.map(() => 0);
  return [
    {
      coefficients: [...terms.map((t) => l11 * t), ...terms.map((t) => l21 * t)],
      value: l11 * dx + l21 * dy,
      weight: 1,
    },
    { coefficients: [...none, ...terms.map((t) => l22 * t)], value: l22 * dy, weight: 1 },
  ];
}

function fitCells(cells: readonly Cell[], field: Field, zUm: number, withPowers: boolean): RobustFit | null {
  const rows = cells.flatMap((cell) => rowsOf(cell, basis(...placeOf(cell, field, zUm), withPowers)));
  const count = withPowers ? 4 + POWERS.length : 4;
  const typical = rows.reduce((sum, r) => sum + r.coefficients[0]! ** 2, 0) / Math.max(1, rows.length);
  const ridge = Array.from({ length: count }, (_, n) => (n < 3 ? 0 : RIDGE * typical));
  return robustFit(rows, 2 * count, [...ridge, ...ridge]);
}

/** Squares of what a fit leaves, no cell counting for more than three typical ones: outliers decide nothing. */
function squares(
  cells: readonly Cell[],
  field: Field,
  zUm: number,
  fitted: RobustFit,
  withPowers: boolean,
): number {
  const left = cells.flatMap((cell) =>
    rowsOf(cell, basis(...placeOf(cell, field, zUm), withPowers)).map(
      ({ coefficients, value }) =>
        (value - coefficients.reduce((s, c, n) => s + c * fitted.solution[n]!, 0)) ** 2,
    ),
  );
  const sorted = [...left].sort((a, b) => a - b);
  const most = 9 * (sorted[sorted.length >> 1] ?? 0);
  return left.reduce((sum, v) => sum + Math.min(v, most), 0);
}

/** Only the powers: the linear part belongs to the map. */
function warpOf({ solution }: RobustFit, field: Field): Warp {
  const count = 4 + POWERS.length;
  return warpOfPowers(solution.slice(4, count), solution.slice(count + 4), field);
}

/** @param x coefficients of the powers: how far the picture lies too far along x, micrometres; y likewise */
export function warpOfPowers(x: readonly number[], y: readonly number[], field: Field): Warp {
  const reach = REACH * field.half;
  const step = (2 * reach) / (POINTS - 1);
  const dx: number[] = [];
  const dy: number[] = [];
  for (let row = 0; row < POINTS; row++) {
    for (let column = 0; column < POINTS; column++) {
      const u = clamp(-REACH + (2 * REACH * column) / (POINTS - 1));
      const v = clamp(-REACH + (2 * REACH * row) / (POINTS - 1));
      const value = (of: readonly number[]): number =>
        POWERS.reduce((sum, [a, b], n) => sum + of[n]! * u ** a * v ** b, 0);
      // The picture lies too far by the fitted amount.
      dx.push(-value(x));
      dy.push(-value(y));
    }
  }
  return {
    origin_um: [field.x - reach, field.y - reach],
    step_um: step,
    shape: [POINTS, POINTS],
    dx_um: dx,
    dy_um: dy,
    dz_um: dx.map(() => 0),
  };
}

/** Powers run away outside the field. */
const clamp = (value: number): number => Math.min(1.1, Math.max(-1.1, value));

/** Both displacements one after the other, near enough while they are slow. */
export function addWarps(a: Warp | null, b: Warp): Warp {
  if (!a) return b;
  return {
    ...b,
    dx_um: b.dx_um.map((v, n) => v + a.dx_um[n]!),
    dy_um: b.dy_um.map((v, n) => v + a.dy_um[n]!),
  };
}
