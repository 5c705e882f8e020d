/** Exact intervals for a share of trials and for a number of rare events. */

export interface Interval {
  readonly low: number;
  readonly high: number;
}

/**
 * Interval for the probability behind `found` of `trials`, at least as often right as stated.
 * @param confidence two-sided, e.g. 0.95
 * @source Clopper and Pearson, Biometrika 26, 404 (1934), as quantiles of the beta distribution
 */
export function clopperPearson(found: number, trials: number, confidence = 0.95): Interval {
  if (trials === 0) return { low: 0, high: 1 };
  const tail = (1 - confidence) / 2;
  return {
    low: found === 0 ? 0 : betaQuantile(tail, found, trials - found + 1),
    high: found === trials ? 1 : betaQuantile(1 - tail, found + 1, trials - found),
  };
}

/**
 * Interval for the expected number behind a count.
 * @source Garwood, Biometrika 28, 437 (1936): where the Poisson tails reach (1 - confidence) / 2
 */
export function poissonInterval(count: number, confidence = 0.95): Interval {
  const tail = (1 - confidence) / 2;
  const high = bisect(
    (mean) => poissonAtMost(count, mean) - tail,
    count,
    count + 12 * Math.sqrt(count + 1) + 20,
  );
  if (count === 0) return { low: 0, high };
  return { low: bisect((mean) => poissonAtMost(count - 1, mean) - (1 - tail), 0, count), high };
}

function poissonAtMost(count: number, mean: number): number {
  let logTerm = -mean;
  let sum = Math.exp(logTerm);
  for (let k = 1; k <= count; k++) {
    logTerm += Math.log(mean / k);
    sum += Math.exp(logTerm);
  }
  return Math.min(1, sum);
}

/** Where a falling function crosses 0. */
function bisect(f: (x: number) => number, low: number, high: number): number {
  for (let n = 0; n < 200; n++) {
    const middle = (low + high) / 2;
    if (middle === low || middle === high) break;
    if (f(middle) > 0) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}

function betaQuantile(p: number, a: number, b: number): number {
  return bisect((x) => p - incompleteBeta(x, a, b), 0, 1);
}

/**
 * Regularised incomplete beta function I_x(a, b).
 * @source Abramowitz and Stegun, Handbook of Mathematical Functions, 26.5.8 (continued fraction), by Lentz's method
 */
export function incompleteBeta(x: number, a: number, b: number): number {
  if (x <= 0) return 0;
  if (x >= 1) return 1;
  if (x > (a + 1) / (a + b + 2)) return 1 - incompleteBeta(1 - x, b, a);
  const front = Math.exp(logGamma(a + b) - logGamma(a) - logGamma(b) + a * Math.log(x) + b * Math.log1p(-x));
  const tiny = 1e-300;
  let c = 1;
  let d = 1 - ((a + b) * x) / (a + 1);
  d = 1 / (Math.abs(d) < tiny ? tiny : d);
  let fraction = d;
  for (let m = 1; m <= 500; m++) {
    const even = (m * (b - m) * x) / ((a + 2 * m - 1) * (a + 2 * m));
    d = 1 / nonZero(1 + even * d, tiny);
    c = nonZero(1 + even / c, tiny);
    fraction *= d * c;
    const odd = (-(a + m) * (a + b + m) * x) / ((a + 2 * m) * (a + 2 * m + 1));
    d = 1 / nonZero(1 + odd * d, tiny);
    c = nonZero(1 + odd / c, tiny);
    const change = d * c;
    fraction *= change;
    if (Math.abs(change - 1) < 1e-15) break;
  }
  return (front * fraction) / a;
}

const nonZero = (value: number, tiny: number): number => (Math.abs(value) < tiny ? tiny : value);

/** ln Gamma(x) for x > 0. @source Lanczos, SIAM J. Numer. Anal. 1, 86 (1964), with g = 7 and nine terms */
function logGamma(x: number): number {
  const terms = [
    0.99999999999980993, 676.5203681218851, -1259.1392167224028, 771.32342877765313, -176.61502916214059,
    12.507343278686905, -0.13857109526572012, 9.9843695780195716e-6, 1.5056327351493116e-7,
  ];
  const z = x - 1;
  let sum = terms[0]!;
  for (let n = 1; n < terms.length; n++) sum += terms[n]! / (z + n);
  const t = z + 7.5;
  return 0.5 * Math.log(2 * Math.PI) + (z + 0.5) * Math.log(t) - t + Math.log(sum);
}
