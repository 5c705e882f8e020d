/** Small non-linear least squares (Levenberg-Marquardt), with the covariance that correlated noise gives. */

/** Fills `value` (one entry per sample) and `slopes` (parameters x samples) for the parameters. */
export type Model = (parameters: Float64Array, value: Float64Array, slopes: Float64Array) => void;

export interface Fit {
  readonly parameters: Float64Array;
  /** Data minus model. */
  readonly residual: Float64Array;
  readonly converged: boolean;
  /** (J^T W J)^-1 J^T W, parameters x samples: what a small change of each sample does to each parameter. */
  readonly response: Float64Array;
}

const ROUNDS = 60;

/**
 * @param weights of each sample, 0 to 1; all alike when left out
 * @returns null where the parameters cannot be told apart by the data
 */
export function fitModel(
  data: Float64Array,
  start: ArrayLike<number>,
  model: Model,
  allowed: (parameters: Float64Array) => boolean = () => true,
  weights: Float64Array = new Float64Array(data.length).fill(1),
): Fit | null {
  const samples = data.length;
  const count = start.length;
  if (samples < count) return null;
  let parameters = Float64Array.from(start);
  let value = new Float64Array(samples);
  let slopes = new Float64Array(count * samples);
  let triedValue = new Float64Array(samples);
  let triedSlopes = new Float64Array(count * samples);
  model(parameters, value, slopes);
  let cost = squares(data, value, weights);
  let damping = 1e-3;
  let converged = false;
  for (let round = 0; round < ROUNDS; round++) {
    const normal = normalMatrix(slopes, weights, count, samples);
    const gradient = new Float64Array(count);
    for (let p = 0; p < count; p++) {
      let sum = 0;
      for (let n = 0; n < samples; n++)
        sum += weights[n]! * slopes[p * samples + n]! * (data[n]! - value[n]!);
      gradient[p] = sum;
    }
    for (let p = 0; p < count; p++) normal[p * count + p]! *= 1 + damping;
    const inverse = invertSymmetric(normal, count);
    if (!inverse) return null;
    const tried = Float64Array.from(parameters);
    for (let p = 0; p < count; p++)
      for (let q = 0; q < count; q++) tried[p]! += inverse[p * count + q]! * gradient[q]!;
    const fits = allowed(tried);
    if (fits) model(tried, triedValue, triedSlopes);
    const triedCost = fits ? squares(data, triedValue, weights) : Number.POSITIVE_INFINITY;
    if (triedCost <= cost) {
      const gain = cost - triedCost;
      parameters = tried;
      [value, triedValue] = [triedValue, value];
      [slopes, triedSlopes] = [triedSlopes, slopes];
      cost = triedCost;
      damping = Math.max(1e-12, damping / 10);
      if (gain <= 1e-11 * (cost + Number.MIN_VALUE)) {
        converged = true;
        break;
      }
    } else {
      damping *= 10;
      // No step however small improves: the minimum is reached to rounding, or a limit was.
      if (damping > 1e12) {
        converged = fits;
        break;
      }
    }
  }
  const inverse = invertSymmetric(normalMatrix(slopes, weights, count, samples), count);
  if (!inverse) return null;
  const response = new Float64Array(count * samples);
  for (let p = 0; p < count; p++)
    for (let q = 0; q < count; q++) {
      const weight = inverse[p * count + q]!;
      for (let n = 0; n < samples; n++)
        response[p * samples + n]! += weight * weights[n]! * slopes[q * samples + n]!;
    }
  const residual = data.map((d, n) => d - value[n]!);
  return { parameters, residual, converged, response };
}

/**
 * Covariance of two linear combinations of the samples under stationary noise: sum of a_n b_m C(|n - m|).
 * @source JCGM 100:2008 5.2.2: law of propagation with correlated inputs.
 */
export function propagate(a: Float64Array, b: Float64Array, lagCovariance: Float64Array): number {
  let sum = 0;
  for (let n = 0; n < a.length; n++) {
    if (a[n] === 0) continue;
    let near = lagCovariance[0]! * b[n]!;
    for (let lag = 1; lag < lagCovariance.length; lag++) {
      if (n >= lag) near += lagCovariance[lag]! * b[n - lag]!;
      if (n + lag < b.length) near += lagCovariance[lag]! * b[n + lag]!;
    }
    sum += a[n]! * near;
  }
  return sum;
}

function squares(data: Float64Array, value: Float64Array, weights: Float64Array): number {
  let sum = 0;
  for (let n = 0; n < data.length; n++) sum += weights[n]! * (data[n]! - value[n]!) ** 2;
  return sum;
}

function normalMatrix(
  slopes: Float64Array,
  weights: Float64Array,
  count: number,
  samples: number,
): Float64Array {
  const normal = new Float64Array(count * count);
  for (let p = 0; p < count; p++)
    for (let q = p; q < count; q++) {
      let sum = 0;
      for (let n = 0; n < samples; n++)
        sum += weights[n]! * slopes[p * samples + n]! * slopes[q * samples + n]!;
      normal[p * count + q] = sum;
      normal[q * count + p] = sum;
    }
  return normal;
}

/** Inverse by Cholesky after scaling to a unit diagonal; null where the matrix is not positive definite. */
function invertSymmetric(matrix: Float64Array, n: number): Float64Array | null {
  const scale = new Float64Array(n);
  for (let p = 0; p < n; p++) {
    const d = matrix[p * n + p]!;
    if (!(d > 0) || !Number.isFinite(d)) return null;
    scale[p] = 1 / Math.sqrt(d);
  }
  const lower = new Float64Array(n * n);
  for (let p = 0; p < n; p++)
    for (let q = 0; q <= p; q++) {
      let sum = matrix[p * n + q]! * scale[p]! * scale[q]!;
      for (let k = 0; k < q; k++) sum -= lower[p * n + k]! * lower[q * n + k]!;
      if (p === q) {
        if (!(sum > 1e-13)) return null;
        lower[p * n + p] = Math.sqrt(sum);
      } else lower[p * n + q] = sum / lower[q * n + q]!;
    }
  const inverse = new Float64Array(n * n);
  const column = new Float64Array(n);
  for (let c = 0; c < n; c++) {
    for (let p = 0; p < n; p++) {
      let sum = p === c ? 1 : 0;
      for (let k = 0; k < p; k++) sum -= lower[p * n + k]! * column[k]!;
      column[p] = sum / lower[p * n + p]!;
    }
    for (let p = n - 1; p >= 0; p--) {
      let sum = column[p]!;
      for (let k = p + 1; k < n; k++) sum -= lower[k * n + p]! * column[k]!;
      column[p] = sum / lower[p * n + p]!;
    }
    for (let p = 0; p < n; p++) inverse[p * n + c] = column[p]! * scale[p]! * scale[c]!;
  }
  return inverse;
}
