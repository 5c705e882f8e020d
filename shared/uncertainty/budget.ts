/**
 * Uncertainty budgets in the manner of the GUM: contributions, each of kind A (from statistics) or B (from other
 * knowledge), combined by their squares.
 */

export interface Contribution {
  readonly name: string;
  readonly kind: 'A' | 'B';
  /** Standard uncertainty times sensitivity, in the unit of the result. */
  readonly u: number;
  /** Degrees of freedom; null where they are many. */
  readonly dof: number | null;
  /** One plain sentence. */
  readonly how: string;
}

export interface Combined {
  readonly u: number;
  /** Effective degrees of freedom; null where they are many. */
  readonly dof: number | null;
}

/** Standard uncertainty of a quantity that lies anywhere within +- `half`. @source JCGM 100:2008 4.3.7: a / sqrt(3). */
export const rectangular = (half: number): number => Math.abs(half) / Math.sqrt(3);

/** Standard uncertainty of the mean of `n` readings. @source JCGM 100:2008 4.2.3: s / sqrt(n). */
export const ofMean = (sd: number, n: number): number => sd / Math.sqrt(n);

/**
 * Standard uncertainty of the median of `n` normally distributed readings, sd sqrt(pi / 2n).
 * @source Stuart and Ord, Kendall's Advanced Theory of Statistics I, 10.10: large-sample variance of a quantile.
 */
export const ofMedian = (sd: number, n: number): number => sd * Math.sqrt(Math.PI / (2 * n));

/** @source JCGM 100:2008 5.1.2 (independent contributions) and G.4.1 (Welch-Satterthwaite). */
export function combine(contributions: readonly Contribution[]): Combined {
  let squares = 0;
  let fourths = 0;
  for (const { u, dof } of contributions) {
    squares += u * u;
    if (dof !== null) fourths += u ** 4 / dof;
  }
  const effective = fourths > 0 ? squares ** 2 / fourths : Number.POSITIVE_INFINITY;
  return { u: Math.sqrt(squares), dof: effective < 1e6 ? Math.max(1, Math.floor(effective)) : null };
}

/** Two-sided 95 % point of the normal distribution. */
export const NORMAL_95 = 1.959963984540054;

/**
 * Coverage factor for 95 %: the two-sided point of Student's t for the effective degrees of freedom.
 * @source JCGM 100:2008 G.6.4 (use of t); Hill, Comm. ACM 13, 619 (1970), algorithm 396 (the quantile).
 */
export function coverageFactor(dof: number | null): number {
  if (dof === null) return NORMAL_95;
  const p = 0.05;
  if (dof <= 1) return 1 / Math.tan((p * Math.PI) / 2);
  if (dof === 2) return Math.sqrt(2 / (p * (2 - p)) - 2);
  const a = 1 / (dof - 0.5);
  const b = 48 / (a * a);
  let c = (((20700 * a) / b - 98) * a - 16) * a + 96.36;
  const d = ((94.5 / (b + c) - 3) / b + 1) * Math.sqrt((a * Math.PI) / 2) * dof;
  let y = (d * p) ** (2 / dof);
  if (y > 0.05 + a) {
    const x = -NORMAL_95;
    y = x * x;
    if (dof < 5) c += 0.3 * (dof - 4.5) * (x + 0.6);
    c = (((0.05 * d * x - 5) * x - 7) * x - 2) * x + b + c;
    y = (((((0.4 * y + 6.3) * y + 36) * y + 94.5) / c - y - 3) / b + 1) * x;
    y = Math.expm1(a * y * y);
  } else {
    y =
      ((1 / (((dof + 6) / (dof * y) - 0.089 * d - 0.822) * (dof + 2) * 3) + 0.5 / (dof + 4)) * y - 1) *
        ((dof + 1) / (dof + 2)) +
      1 / y;
  }
  return Math.sqrt(dof * y);
}
