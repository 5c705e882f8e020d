/**
 * Heights of the layers' middles against the process table. Thicknesses of films differ from the table one by one, so
 * that what lies higher is off by the sum of what lies below: a straight line through them must know that. The stated
 * voxel is the other thing that is known.
 */
import { Matrix, solve } from 'ml-matrix';
import { STATED_DEPTH_SD } from '../../../../../shared/uncertainty/limits.ts';
import { median } from '../../../../kernels/statistics.ts';
import { robustFit } from '../robust-fit.ts';
import type { LayerDepths } from './layer-depths.ts';

export interface DepthInput {
  readonly depths: LayerDepths;
  /** Drawn middle of every layer, micrometres. */
  readonly middleUm: readonly number[];
  /** Every height of the process table where a film begins or ends, rising, with 0. */
  readonly levelsUm: readonly number[];
  readonly middle: readonly [number, number, number];
  /** Size of the map's voxel in depth over the stated one. */
  readonly stretch: number;
}

export interface DepthFit {
  /** What is taken from the height: place, per micrometre of x, of y, of height. */
  readonly place: number;
  readonly alongX: number;
  readonly alongY: number;
  readonly alongZ: number;
  /** Standard deviation of what is taken along x and y; infinite where patches do not tell. */
  readonly tiltSd: readonly [number, number];
  /** Standard deviation of the height in the middle of the scan. */
  readonly sdUm: number;
}

export interface ThroughFilms extends Pick<DepthFit, 'place' | 'alongZ' | 'sdUm'> {
  /** Of place and slope: variance, covariance, variance. */
  readonly covariance: readonly [number, number, number];
}

/** Standard deviation of a film's thickness as a share of it. Common practice, no source: a tenth at most. */
const FILM = 0.05;
/** Standard deviation of one layer's middle as it is measured, micrometres; faults of the method included. */
const LAYER_UM = 0.012;

export function fitDepth(input: DepthInput): DepthFit | null {
  const { depths, middleUm } = input;
  const tilt = tiltOf(input);
  const shown = depths.offsetUm.flatMap((offset, n) => (offset === null ? [] : [n]));
  if (shown.length === 0) return null;
  const line = throughFilms(
    shown.map((n) => middleUm[n]!),
    shown.map((n) => depths.offsetUm[n]!),
    shown.map(() => LAYER_UM ** 2),
    { levelsUm: input.levelsUm, aboutUm: input.middle[2], stretch: input.stretch },
  );
  const { place, alongZ, sdUm } = line;
  return { place, alongZ, sdUm, ...tilt };
}

/** How every layer alike leans over the field, from its patches against the whole. */
function tiltOf({ depths: { cells }, middle }: DepthInput): Pick<DepthFit, 'alongX' | 'alongY' | 'tiltSd'> {
  const layers = [...new Set(cells.map((c) => c.layer))];
  const rows = cells.map((cell) => ({
    coefficients: [
      ...layers.map((n) => (n === cell.layer ? 1 : 0)),
      cell.xUm - middle[0],
      cell.yUm - middle[1],
    ],
    value: cell.depthUm,
    weight: cell.precision,
  }));
  const unknown = { alongX: 0, alongY: 0, tiltSd: [Infinity, Infinity] as const };
  if (rows.length < layers.length + 6) return unknown;
  const typical = median(rows.map((r) => r.weight));
  const fit = robustFit(rows, layers.length + 2, [
    ...layers.map(() => 1e-6 * typical),
    0.05 * typical,
    0.05 * typical,
  ]);
  if (!fit) return unknown;
  const [x, y] = [layers.length, layers.length + 1];
  return {
    alongX: fit.solution[x]!,
    alongY: fit.solution[y]!,
    tiltSd: [Math.sqrt(fit.covariance[x]![x]!), Math.sqrt(fit.covariance[y]![y]!)],
  };
}

/** Degrees of freedom of Student's distribution for what one layer is measured at: one that shows something else must not decide. */
const TAILS = 3;
const ROUNDS = 30;

/**
 * Generalised least squares of offset = place + slope * (height - about), films off one by one, slope expected; errors of
 * single measurements follow Student's distribution, by expectation and maximisation.
 * @source Aitken, Proc. Royal Society of Edinburgh 55, 42 (1936), for the estimate; Lange, Little and Taylor, Journal of the
 * American Statistical Association 84, 881 (1989), for the weights.
 * @param heights drawn heights, micrometres
 * @param offsets how much too high each of them lies
 * @param own variance of each offset as it is measured
 */
export function throughFilms(
  heights: readonly number[],
  offsets: readonly number[],
  own: readonly number[],
  { levelsUm, aboutUm, stretch }: { levelsUm: readonly number[]; aboutUm: number; stretch: number },
): ThroughFilms {
  const design = new Matrix(heights.map((h) => [1, h - aboutUm]));
  const values = Matrix.columnVector([...offsets]);
  const films = heights.map((a) => heights.map((b) => filmsBelow(levelsUm, Math.min(a, b))));
  let variances = [...own];
  const estimate = () => {
    const covariance = new Matrix(
      films.map((row, a) => row.map((v, b) => v + (a === b ? variances[a]! : 0))),
    );
    const back = solve(covariance, Matrix.eye(heights.length));
    const weighted = back.mmul(design);
    const normal = design.transpose().mmul(weighted);
    const right = weighted.transpose().mmul(values);
    // The corrected voxel is stretch * (1 - slope) of the stated one.
    const prior = 1 / STATED_DEPTH_SD ** 2;
    normal.set(1, 1, normal.get(1, 1) + prior);
    right.set(1, 0, right.get(1, 0) + prior * (stretch - 1));
    const inverse = solve(normal, Matrix.eye(2));
    return { back, inverse, solution: inverse.mmul(right) };
  };
  let found = estimate();
  for (let round = 0; round < ROUNDS; round++) {
    const { back, solution } = found;
    const pull = back.mmul(Matrix.sub(values, design.mmul(solution)));
    variances = variances.map((variance, n) => {
      // The part of the residual that is not of the films, and how well it is known.
      const error = variance * pull.get(n, 0);
      const square = error ** 2 + variance - variance ** 2 * back.get(n, n);
      return (own[n]! * (TAILS + square / own[n]!)) / (TAILS + 1);
    });
    found = estimate();
  }
  const { solution, inverse } = found;
  return {
    ...{ place: solution.get(0, 0), alongZ: solution.get(1, 0), sdUm: Math.sqrt(inverse.get(0, 0)) },
    covariance: [inverse.get(0, 0), inverse.get(0, 1), inverse.get(1, 1)],
  };
}

/** Variance of a height through the films below it. */
export function filmsBelow(levelsUm: readonly number[], z: number): number {
  let sum = 0;
  for (let n = 0; n + 1 < levelsUm.length && levelsUm[n]! < z; n++) {
    const part = Math.min(z, levelsUm[n + 1]!) - levelsUm[n]!;
    sum += (FILM * part) ** 2;
  }
  return sum;
}
