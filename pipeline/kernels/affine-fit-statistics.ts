/** What the residuals of a fit say about it: how sure it is, whether it beats another, which points stand out. */
import { EVD, inverse, Matrix } from 'ml-matrix';
import type { Vector3 } from '../../shared/affine.ts';
import { type CentredPoints, jacobianOf, type ModelFit } from './affine-fit-models.ts';
import { PARAMETERS } from './affine-fit-types.ts';

export interface Certainty {
  /** Parameters x parameters. */
  readonly covariance: Matrix;
  /** The same for landmarks with a standard deviation of 1 um in every coordinate. */
  readonly unitCovariance: Matrix;
  /** Standard deviation of one landmark, in the plane of the die and in height, um. */
  readonly sigmaUm: { readonly lateral: number; readonly depth: number };
  readonly degreesOfFreedom: { readonly lateral: number; readonly depth: number };
  /** How many of the parameters the positions in the plane fix, and how many the heights. */
  readonly absorbed: { readonly lateral: number; readonly depth: number };
}

/** Below this share of the largest, an eigenvalue of the scaled normal matrix means a parameter left free. */
const RANK = 1e-9;

/**
 * Covariance of the parameters. Positions in the plane and heights are read off in different ways, so each has its own
 * variance where there are enough landmarks to tell (3 degrees of freedom each); otherwise they share one.
 *
 * @returns null where the points leave a parameter free, or no degree of freedom to judge by.
 * @source Ordinary least squares with unequal variances: C = G J'WJ G, G = (J'J)^-1; the two variances from the
 * expected residual sums, E[r_g'r_g] = sum_h s_h^2 |(1 - H)_gh|^2 (C. R. Rao's MINQUE, J. Am. Stat. Assoc. 65 (1970) 161).
 */
export function certaintyOf(points: CentredPoints, fit: ModelFit): Certainty | null {
  const parameters = PARAMETERS[fit.model];
  const freedom = 3 * points.count - parameters;
  const jacobian = jacobianOf(points, fit);
  const normal = jacobian.transpose().mmul(jacobian);
  if (freedom < 1 || isSingular(normal)) return null;
  const bread = inverse(normal);
  const groups = [
    { rows: axisRows(points, [0, 1]), rss: sumOfSquares(fit.residualsUm, [0, 1]) },
    { rows: axisRows(points, [2]), rss: sumOfSquares(fit.residualsUm, [2]) },
  ] as const;
  const meats = groups.map(({ rows }) => {
    const part = jacobian.subMatrixRow(rows);
    return part.transpose().mmul(part);
  });
  const shares = meats.map((meat) => meat.mmul(bread));
  const [lateral, depth] = groups.map(({ rows }, n) => rows.length - shares[n]!.trace()) as [number, number];
  const degreesOfFreedom = { lateral, depth };
  const [l, d] = lateral >= 3 && depth >= 3 ? variances() : [fit.rss / freedom, fit.rss / freedom];
  const meat = Matrix.add(Matrix.mul(meats[0]!, l), Matrix.mul(meats[1]!, d));
  return {
    covariance: bread.mmul(meat).mmul(bread),
    unitCovariance: bread,
    absorbed: { lateral: shares[0]!.trace(), depth: shares[1]!.trace() },
    sigmaUm: { lateral: Math.sqrt(l), depth: Math.sqrt(d) },
    degreesOfFreedom: lateral >= 3 && depth >= 3 ? degreesOfFreedom : { lateral: freedom, depth: freedom },
  };

  function variances(): [number, number] {
    const [a, b] = shares as [Matrix, Matrix];
    const across = a.mmul(b).trace();
    const ll = groups[0].rows.length - 2 * a.trace() + a.mmul(a).trace();
    const dd = groups[1].rows.length - 2 * b.trace() + b.mmul(b).trace();
    const det = ll * dd - across * across;
    // A negative estimate is possible when one variance is far smaller: it is then as good as nothing.
    return [
      Math.max((groups[0].rss * dd - groups[1].rss * across) / det, 0),
      Math.max((groups[1].rss * ll - groups[0].rss * across) / det, 0),
    ];
  }
}

function isSingular(normal: Matrix): boolean {
  const size = normal.diagonal().map(Math.sqrt);
  if (size.some((value) => !(value > RANK * Math.max(...size)))) return true;
  const scaled = normal.clone();
  for (let n = 0; n < size.length; n++)
    for (let m = 0; m < size.length; m++) scaled.set(n, m, normal.get(n, m) / (size[n]! * size[m]!));
  const values = new EVD(scaled, { assumeSymmetric: true }).realEigenvalues;
  return !(Math.min(...values) > RANK * Math.max(...values));
}

const axisRows = (points: CentredPoints, axes: readonly number[]): number[] =>
  Array.from({ length: points.count }, (_, n) => axes.map((axis) => 3 * n + axis)).flat();

const sumOfSquares = (residuals: Float64Array, axes: readonly number[]): number =>
  residuals.reduce((sum, value, n) => sum + (axes.includes(n % 3) ? value * value : 0), 0);

/** Standard uncertainty of the mapped position of one voxel index, um per die axis. */
export function uncertaintyAt(
  points: CentredPoints,
  fit: ModelFit,
  certainty: Certainty,
  voxel: Vector3,
): { x: number; y: number; z: number } {
  const from = voxel.map((v, axis) => (v - points.meanVoxel[axis]!) * points.step[axis]!);
  const derivatives = fit.derivativesAt(from);
  const covariance = derivatives.mmul(certainty.covariance).mmul(derivatives.transpose());
  const [x, y, z] = covariance.diagonal().map((value) => Math.sqrt(Math.max(value, 0)));
  return { x: x!, y: y!, z: z! };
}

/**
 * Relative standard uncertainty of the height that a step along k becomes: of a thickness, whatever its place.
 *
 * @param fit of a model with a depth scale of its own.
 * @param floorUm the standard deviation of a landmark is not taken below this.
 */
export function depthScaleUncertainty(fit: ModelFit, certainty: Certainty, floorUm: number): number {
  const derivatives = stepDerivatives(fit, 2).subMatrixRow([2]);
  const total = withFloor(certainty, floorUm);
  const variance = derivatives.mmul(total).mmul(derivatives.transpose()).get(0, 0);
  return Math.sqrt(variance) / Math.abs(fit.linear.get(2, 2));
}

/** A step is a difference of positions: the shift takes no part in it. */
function stepDerivatives(fit: ModelFit, axis: number): Matrix {
  const derivatives = fit.derivativesAt([0, 1, 2].map((n) => (n === axis ? 1 : 0)));
  for (let n = 0; n < 3; n++) derivatives.set(n, n, 0);
  return derivatives;
}

const withFloor = ({ covariance, unitCovariance }: Certainty, floorUm: number): Matrix =>
  Matrix.add(covariance, Matrix.mul(unitCovariance, floorUm ** 2));

/**
 * Largest relative standard uncertainty of the die vectors that one step along i, j or k becomes.
 *
 * @param floorUm the standard deviation of a landmark is not taken below this.
 */
export function worstStepUncertainty(fit: ModelFit, certainty: Certainty, floorUm: number): number {
  const total = withFloor(certainty, floorUm);
  const relative = [0, 1, 2].map((axis) => {
    const derivatives = stepDerivatives(fit, axis);
    const variance = derivatives.mmul(total).mmul(derivatives.transpose()).trace();
    return Math.sqrt(variance) / Math.hypot(...fit.linear.getColumn(axis));
  });
  return Math.max(...relative);
}

/**
 * Akaike's criterion with the correction for small samples: what a model gains in fit less what its parameters cost;
 * the smaller the better. Infinite where there are too few observations for the correction.
 *
 * @param floorUm residuals below this are rounding, and no reason to prefer a model.
 * @source Hurvich and Tsai, Biometrika 76 (1989) 297; Burnham and Anderson, "Model Selection and Multimodel Inference"
 * (2nd ed., 2002), section 2.4: K counts the variance too.
 */
export function aicc(count: number, fit: ModelFit, floorUm: number): number {
  const n = 3 * count;
  const k = PARAMETERS[fit.model] + 1;
  if (n - k - 1 < 1) return Infinity;
  return n * Math.log(fit.rss / n + floorUm ** 2) + 2 * k + (2 * k * (k + 1)) / (n - k - 1);
}

/** Value below which a share of the list lies, interpolated between neighbours (Hyndman and Fan's type 7). */
export function quantile(values: ArrayLike<number>, share: number): number {
  const sorted = Float64Array.from(values).sort();
  const at = share * (sorted.length - 1);
  const low = Math.floor(at);
  const high = Math.min(low + 1, sorted.length - 1);
  return sorted[low]! + (at - low) * (sorted[high]! - sorted[low]!);
}
