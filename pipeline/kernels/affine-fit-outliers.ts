/** Which landmarks stand out from a fit that does not let them pull. */
import { Matrix, solve } from 'ml-matrix';
import { type CentredPoints, jacobianOf, type ModelFit } from './affine-fit-models.ts';
import { PARAMETERS } from './affine-fit-types.ts';

export interface Outlier {
  /** Position in the list of points. */
  readonly index: number;
  /** Distance from where the other landmarks put it, um. */
  readonly offUm: number;
  /** The same in robust standard deviations, the larger of in the plane and in height. */
  readonly sigmas: number;
}

export interface RobustView {
  readonly outliers: readonly Outlier[];
  /** Robust standard deviation of one coordinate, um. */
  readonly sigmaUm: number;
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
 * lists the landmarks beyond 4 robust standard deviations. Nothing is dropped from the fit itself.
 *
 * @param floorUm standard deviations are not taken below this.
 * @source Maronna, Martin and Yohai, "Robust Statistics" (2006), section 4.4: start from least absolute residuals,
 * scale from the median of the residuals that the fit does not make zero, then bisquare with that scale kept (MM).
 */
export function robustView(points: CentredPoints, fit: ModelFit, floorUm: number): RobustView {
  const parameters = PARAMETERS[fit.model];
  const observations = 3 * points.count;
  const plain = Math.max(Math.sqrt(fit.rss / Math.max(observations - parameters, 1)), floorUm);
  if (observations - parameters < LEAST_FREEDOM) return { outliers: [], sigmaUm: plain };
  const jacobian = jacobianOf(points, fit);
  const start = Matrix.columnVector(fit.residualsUm);
  const lengths = (residuals: Float64Array): number[] =>
    Array.from({ length: points.count }, (_, n) => Math.hypot(...residuals.subarray(3 * n, 3 * n + 3)));
  let residuals = fit.residualsUm;
  const reweigh = (weight: (length: number) => number, rounds: number): void => {
    for (let round = 0; round < rounds; round++) {
      const weights = lengths(residuals).map(weight);
      const weighted = jacobian.clone();
      for (let row = 0; row < observations; row++) weighted.mulRow(row, weights[Math.floor(row / 3)]!);
      const normal = weighted.transpose().mmul(jacobian);
      const correction = solve(normal, weighted.transpose().mmul(start), true);
      residuals = Float64Array.from(Matrix.sub(start, jacobian.mmul(correction)).to1DArray());
    }
  };
  reweigh((length) => 1 / Math.max(length, 0.01 * plain, floorUm), 30);
  const sigma = Math.max(nonZeroMedian(residuals, parameters) / NORMAL_MEDIAN, floorUm);
  // Lengths have three coordinates: the constant grows with the root of their number.
  const limit = BISQUARE * Math.sqrt(3) * sigma;
  reweigh((length) => (length < limit ? (1 - (length / limit) ** 2) ** 2 : 0), 20);
  return { outliers: beyond(residuals, sigma), sigmaUm: sigma };
}

function beyond(residuals: Float64Array, sigma: number): Outlier[] {
  const outliers: Outlier[] = [];
  for (let index = 0; 3 * index < residuals.length; index++) {
    const own = residuals.subarray(3 * index, 3 * index + 3);
    const sigmas = Math.max(...own.map(Math.abs)) / sigma;
    if (sigmas > DOUBTED) outliers.push({ index, offUm: Math.hypot(...own), sigmas });
  }
  return outliers;
}

/** Median of the absolute residuals without the smallest, as many as there are parameters. */
function nonZeroMedian(residuals: Float64Array, parameters: number): number {
  const sorted = residuals.map(Math.abs).sort().subarray(parameters);
  const middle = sorted.length >> 1;
  return sorted.length % 2 === 1 ? sorted[middle]! : (sorted[middle - 1]! + sorted[middle]!) / 2;
}
