/** The normal distribution, to double precision where it matters: sub-pixel positions come from differences of it. */

/**
 * Error function, absolute error below 1e-11.
 * @source Abramowitz and Stegun, Handbook of Mathematical Functions: power series 7.1.5, continued fraction 7.1.14.
 */
export function erf(x: number): number {
  const size = Math.abs(x);
  if (size < 3) {
    // Power series: alternating, all terms below e^9, so at least eleven digits remain.
    let term = size;
    let sum = size;
    for (let n = 1; n < 80; n++) {
      term *= (-size * size) / n;
      const part = term / (2 * n + 1);
      sum += part;
      if (Math.abs(part) < 1e-17 * Math.abs(sum)) break;
    }
    return Math.sign(x) * sum * (2 / Math.sqrt(Math.PI));
  }
  if (size > 6) return Math.sign(x);
  // Continued fraction of erfc. @source Abramowitz and Stegun 7.1.14.
  let fraction = 0;
  for (let n = 60; n > 0; n--) fraction = n / 2 / (size + fraction);
  return Math.sign(x) * (1 - Math.exp(-size * size) / (Math.sqrt(Math.PI) * (size + fraction)));
}

/** Nodes of the table per unit, and its reach: beyond it the distribution is 0 or 1 to double precision. */
const PER_UNIT = 64;
const REACH = 8.5;
const NODES: Float64Array = Float64Array.from(
  { length: 2 * REACH * PER_UNIT + 1 },
  (_, n) => (1 + erf((n / PER_UNIT - REACH) / Math.SQRT2)) / 2,
);
const SLOPES: Float64Array = NODES.map((_, n) => {
  const z = n / PER_UNIT - REACH;
  return Math.exp((-z * z) / 2) / Math.sqrt(2 * Math.PI) / PER_UNIT;
});

/**
 * Cumulative distribution of the standard normal, absolute error below 1e-9: a fit asks for it millions of times, so
 * it is a table with cubic Hermite interpolation, whose slopes are the density.
 */
export function normalCdf(z: number): number {
  if (!(z > -REACH)) return 0;
  if (z >= REACH) return 1;
  const at = (z + REACH) * PER_UNIT;
  const n = Math.floor(at);
  const t = at - n;
  const da = SLOPES[n]!;
  const db = SLOPES[n + 1]!;
  const low = NODES[n]!;
  const rise = NODES[n + 1]! - low;
  return low + t * (da + t * (3 * rise - 2 * da - db + t * (da + db - 2 * rise)));
}

export const normalDensity = (z: number): number => Math.exp((-z * z) / 2) / Math.sqrt(2 * Math.PI);

/** Widths of a Gaussian blur in units of its standard deviation: z(0.9) - z(0.1), and the full width at half maximum. */
export const TEN_TO_NINETY = 2.5631031310892007;
export const FULL_WIDTH_HALF_MAXIMUM = 2.3548200450309493;
