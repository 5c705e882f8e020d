/** Which landmarks stand out from a fit that does not let them pull. */
import { Matrix, pseudoInverse, solve } from 'ml-matrix';
import { type CentredPoints, jacobianOf, type ModelFit } from './affine-fit-models.ts';
import type { Certainty } from './affine-fit-statistics.ts';

export interface Outlier {
  /** Position in the list of points. */
  readonly index: number;
  /** Distance from where the other landmarks put it, um. */
  readonly offUm: number;
  /** The same in robust standard deviations, the larger of in the plane and in height. */
  readonly sigmas: number;
}

/** Residuals beyond this many robust standard deviations are doubted. */
const DOUBTED = 4;
/** Below this many degrees of freedom the spread of the others is itself too unsure to judge one by. */
const LEAST_FREEDOM = 6;
/** Tuning constant of the bisquare for 95 % efficiency at the normal distribution. */
const BISQUARE = 4.685;
/** Median of the absolute value of a standard normal variable. */
const NORMAL_MEDIAN = 0.6745;

/**
 * Corrects a least-squares fit by a robust one (small corrections: the model is taken as linear around the fit) and
 * suspects the landmarks beyond 4 robust standard deviations. A robust deviation of a few landmarks is rough, so each
 * suspect is then judged by a plain fit to the landmarks that are not suspected, and only those still beyond 4 standard
 * deviations of their predicted place are listed. Nothing is dropped from the fit itself. Positions in the plane and
 * heights are judged by a scatter of their own.
 *
 * @param floorUm standard deviations are not taken below this: how finely a landmark can be set.
 * @source Maronna, Martin and Yohai, "Robust Statistics" (2006), section 4.4: start from least absolute residuals,
 * scale from the median of the residuals that the fit does not make zero, then bisquare with that scale kept (MM).
 */
export function findOutliers(
  points: CentredPoints,
  fit: ModelFit,
  certainty: Certainty,
  floorUm: number,
): Outlier[] {
  const { lateral, depth } = certainty.absorbed;
  const freedom = fit.residualsUm.length - lateral - depth;
  if (freedom < LEAST_FREEDOM) return [];
  const jacobian = jacobianOf(points, fit);
  const typicalUm = Math.max(Math.sqrt(fit.rss / freedom), floorUm);
  // Least absolute residuals by weights; residuals near zero would have endless weight.
  const least = Math.max(0.01 * typicalUm, floorUm);
  const first = reweighted(fit.residualsUm, jacobian, [1, 1, 1], 30, (length) => 1 / Math.max(length, least));
  const scales = scalesOf(first, certainty, floorUm);
  // Lengths have three coordinates: the constant grows with the root of their number.
  const limit = BISQUARE * Math.sqrt(3);
  const settled = reweighted(first, jacobian, scales, 20, (length) =>
    length < limit ? (1 - (length / limit) ** 2) ** 2 : 0,
  );
  const suspects = new Set<number>();
  for (let index = 0; index < points.count; index++) {
    const own = settled.subarray(3 * index, 3 * index + 3);
    if (own.some((value, axis) => Math.abs(value) > DOUBTED * scales[axis]!)) suspects.add(index);
  }
  for (;;) {
    const judged = judge(fit.residualsUm, jacobian, suspects, certainty, floorUm);
    const confirmed = judged.filter(({ sigmas }) => sigmas > DOUBTED);
    if (confirmed.length === judged.length) return judged;
    // Those acquitted count among the others from here on.
    suspects.clear();
    for (const { index } of confirmed) suspects.add(index);
  }
}

/** Distance of each suspect from where a least-squares fit to all others puts it. */
function judge(
  start: Float64Array,
  jacobian: Matrix,
  suspects: ReadonlySet<number>,
  { absorbed }: Certainty,
  floorUm: number,
): Outlier[] {
  const used = Matrix.zeros(jacobian.rows, jacobian.columns);
  const rows = Array.from(start.keys());
  for (const row of rows) if (!suspects.has(Math.floor(row / 3))) used.setRow(row, jacobian.getRow(row));
  const inverse = pseudoInverse(used.transpose().mmul(used));
  const target = Matrix.columnVector(start);
  const correction = inverse.mmul(used.transpose().mmul(target));
  const residuals = Float64Array.from(Matrix.sub(target, jacobian.mmul(correction)).to1DArray());
  const others = rows.filter((row) => !suspects.has(Math.floor(row / 3)));
  const spread = (of: readonly number[], parameters: number): number =>
    Math.sqrt(of.reduce((sum, row) => sum + residuals[row]! ** 2, 0) / Math.max(of.length - parameters, 1));
  const pooled = spread(others, absorbed.lateral + absorbed.depth);
  const [lateral, depth] = (
    [
      [(row: number) => row % 3 < 2, absorbed.lateral],
      [(row: number) => row % 3 === 2, absorbed.depth],
    ] as const
  ).map(([belongs, parameters]) => {
    const group = others.filter(belongs);
    return believed(spread(group, parameters), group.length - parameters, pooled, floorUm);
  }) as [number, number];
  return [...suspects].map((index) => {
    const own = residuals.subarray(3 * index, 3 * index + 3);
    const sigmas = own.map((value, axis) => {
      const derivatives = Matrix.rowVector(jacobian.getRow(3 * index + axis));
      const leverage = derivatives.mmul(inverse).mmul(derivatives.transpose()).get(0, 0);
      return Math.abs(value) / ((axis < 2 ? lateral : depth) * Math.sqrt(1 + leverage));
    });
    return { index, offUm: Math.hypot(...own), sigmas: Math.max(...sigmas) };
  });
}

/** Few coordinates say little about their own scatter: one below that of all coordinates is then not believed. */
const believed = (alone: number, freedom: number, pooled: number, floorUm: number): number =>
  Math.max(freedom < LEAST_FREEDOM ? Math.max(alone, pooled) : alone, floorUm);

/** Rounds of weighted least squares on the residuals, each landmark weighted by its residual in units of `scales`. */
function reweighted(
  start: Float64Array,
  jacobian: Matrix,
  scales: readonly number[],
  rounds: number,
  weight: (length: number) => number,
): Float64Array {
  const target = Matrix.columnVector(start);
  let residuals = start;
  for (let round = 0; round < rounds; round++) {
    const weighted = jacobian.clone();
    for (let row = 0; row < residuals.length; row += 3) {
      const own = residuals.subarray(row, row + 3).map((value, axis) => value / scales[axis]!);
      const factor = weight(Math.hypot(...own));
      for (let axis = 0; axis < 3; axis++) weighted.mulRow(row + axis, factor / scales[axis]! ** 2);
    }
    const across = weighted.transpose();
    const correction = solve(across.mmul(jacobian), across.mmul(target), true);
    residuals = Float64Array.from(Matrix.sub(target, jacobian.mmul(correction)).to1DArray());
  }
  return residuals;
}

/** Robust standard deviations in x, y and z. */
function scalesOf(
  residuals: Float64Array,
  { absorbed }: Certainty,
  floorUm: number,
): [number, number, number] {
  const pooled = scaleOf(residuals, absorbed.lateral + absorbed.depth);
  const own = (values: Float64Array, parameters: number): number =>
    believed(scaleOf(values, parameters), values.length - parameters, pooled, floorUm);
  const lateral = own(
    residuals.filter((_, n) => n % 3 < 2),
    absorbed.lateral,
  );
  const depth = own(
    residuals.filter((_, n) => n % 3 === 2),
    absorbed.depth,
  );
  return [lateral, lateral, depth];
}

/** Median of the absolute residuals without the smallest, as many as there are parameters, as a standard deviation. */
function scaleOf(residuals: Float64Array, parameters: number): number {
  const sorted = residuals
    .map(Math.abs)
    .sort()
    .subarray(Math.min(Math.round(parameters), residuals.length - 1));
  const middle = sorted.length >> 1;
  const median = sorted.length % 2 === 1 ? sorted[middle]! : (sorted[middle - 1]! + sorted[middle]!) / 2;
  return median / NORMAL_MEDIAN;
}
