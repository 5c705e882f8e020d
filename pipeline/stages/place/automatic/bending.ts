/** A smooth bending of the field on top of the affine map, where the patches demand one. */
import type { Warp } from '../../../../shared/artefacts/placement.ts';
import type { Cell } from './patches.ts';
import { type RobustFit, type Row, robustFit } from './robust-fit.ts';
import { SOFT_REACH, type SoftField, softField } from './soft-field.ts';

/** Where the field lies: its middle, and how far it reaches along x or y, micrometres. */
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
const POINTS = 25;
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
  const soft = softField(
    known.map((cell) => ({
      ...{ u: (cell.xUm - field.x) / field.half, v: (cell.yUm - field.y) / field.half },
      ...{ shift: cell.shiftUm!, weight: [cell.sureness[0], cell.sureness[2]] as const, group: cell.zUm },
    })),
  );
  return soft && { warp: warpOf(soft, field), gain };
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

/** The warp that takes a field back: the picture lies too far by what the field says. */
export function warpOf(soft: SoftField, field: Field): Warp {
  const reach = SOFT_REACH * field.half;
  const across = Array.from({ length: POINTS }, (_, n) => SOFT_REACH * ((2 * n) / (POINTS - 1) - 1));
  const values = across.flatMap((v) => across.map((u) => soft(u, v)));
  return {
    origin_um: [field.x - reach, field.y - reach],
    step_um: (2 * reach) / (POINTS - 1),
    shape: [POINTS, POINTS],
    dx_um: values.map(([dx]) => -dx),
    dy_um: values.map(([, dy]) => -dy),
    dz_um: values.map(() => 0),
  };
}

/** Both displacements one after the other, near enough while they are slow. */
export function addWarps(a: Warp | null, b: Warp): Warp {
  if (!a) return b;
  return {
    ...b,
    dx_um: b.dx_um.map((v, n) => v + a.dx_um[n]!),
    dy_um: b.dy_um.map((v, n) => v + a.dy_um[n]!),
  };
}
