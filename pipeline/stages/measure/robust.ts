/** Medians and spreads that a few wrong readings do not move. */
import { median } from '../../kernels/statistics.ts';

export interface Spread {
  readonly n: number;
  readonly median: number;
  /** Standard deviation: of the readings kept. */
  readonly sd: number;
}

/** Standard deviation of a normal distribution over its median absolute deviation. */
const MAD = 1.4826022185056018;
/** Readings farther from the median than this many robust deviations are errors of another kind. */
const FAR = 4;

export function robustDeviation(values: readonly number[]): number {
  const middle = median(values);
  return MAD * median(values.map((v) => Math.abs(v - middle)));
}

/** Which readings lie near enough to the others to be of the same kind. */
export function nearMedian(values: readonly number[]): boolean[] {
  const middle = median(values);
  const reach = FAR * Math.max(robustDeviation(values), 1e-12);
  return values.map((v) => Math.abs(v - middle) <= reach);
}

export function spreadOf(values: readonly number[]): Spread {
  const near = nearMedian(values);
  const kept = values.filter((_, n) => near[n]);
  const n = kept.length;
  const mean = kept.reduce((a, b) => a + b, 0) / n;
  const squares = kept.reduce((sum, v) => sum + (v - mean) ** 2, 0);
  return { n, median: median(kept), sd: n > 1 ? Math.sqrt(squares / (n - 1)) : 0 };
}
