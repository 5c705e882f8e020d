/** Weighted least squares with outliers pushed out. */
import { Matrix, solve } from 'ml-matrix';
import { median } from '../../../kernels/statistics.ts';

/** One scalar measurement: sum of coefficients times unknowns = value. */
export interface Row {
  readonly coefficients: readonly number[];
  readonly value: number;
  /** Inverse variance up to a common factor. */
  readonly weight: number;
}

export interface RobustFit {
  readonly solution: number[];
  /** Covariance of the unknowns, scaled by the scatter of the rows that count. */
  readonly covariance: number[][];
  /** Share of each row that counts, 0 to 1. */
  readonly kept: number[];
  readonly residuals: number[];
}

/** Tukey's constant: 95 % efficient on normal errors. @source Holland and Welsch, Comm. Stat. A6, 813 (1977). */
const TUKEY = 4.685;
const ROUNDS = 12;

/**
 * Tukey's weights: how much each residual still counts.
 * @param scaled sizes of the residuals, each by its own uncertainty
 * @param scale robust standard deviation of them
 */
export const tukeyWeights = (scaled: readonly number[], scale: number): number[] =>
  scaled.map((r) => (r < TUKEY * scale ? (1 - (r / (TUKEY * scale)) ** 2) ** 2 : 0));

/** @returns null where the rows do not fix the unknowns */
export function robustFit(
  rows: readonly Row[],
  unknowns: number,
  prior: readonly number[],
): RobustFit | null {
  if (rows.length < unknowns) return null;
  let kept = rows.map(() => 1);
  let solution: number[] = new Array(unknowns).fill(0);
  let inverse: Matrix | null = null;
  let residuals: number[] = [];
  for (let round = 0; round < ROUNDS; round++) {
    const normal = Matrix.zeros(unknowns, unknowns);
    const right = Matrix.zeros(unknowns, 1);
    rows.forEach(({ coefficients, value, weight }, n) => {
      const w = weight * kept[n]!;
      if (w === 0) return;
      for (let a = 0; a < unknowns; a++) {
        right.set(a, 0, right.get(a, 0) + w * coefficients[a]! * value);
        for (let b = 0; b < unknowns; b++)
          normal.set(a, b, normal.get(a, b) + w * coefficients[a]! * coefficients[b]!);
      }
    });
    for (let a = 0; a < unknowns; a++) normal.set(a, a, normal.get(a, a) + prior[a]!);
    try {
      inverse = solve(normal, Matrix.eye(unknowns));
    } catch {
      return null;
    }
    solution = inverse.mmul(right).to1DArray();
    if (solution.some((v) => !Number.isFinite(v))) return null;
    residuals = rows.map(
      ({ coefficients, value }) => value - coefficients.reduce((sum, c, a) => sum + c * solution[a]!, 0),
    );
    const scaled = rows.map(({ weight }, n) => Math.abs(residuals[n]!) * Math.sqrt(weight));
    const scale = median(scaled.filter((_, n) => rows[n]!.weight > 0)) / 0.6745 || 1e-12;
    kept = tukeyWeights(scaled, scale);
  }
  if (!inverse) return null;
  let squares = 0;
  let count = 0;
  rows.forEach(({ weight }, n) => {
    squares += kept[n]! * weight * residuals[n]! ** 2;
    count += kept[n]!;
  });
  const variance = squares / Math.max(1, count - unknowns);
  return { solution, covariance: inverse.mul(variance).to2DArray(), kept, residuals };
}
