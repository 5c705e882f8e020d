/** Small dense least squares by normal equations, for tens of unknowns and many rows. */

/** Sums of products of columns, weighted, with the right-hand side as the last column. */
export interface NormalEquations {
  readonly unknowns: number;
  /** (unknowns + 1) squared, symmetric; the last row and column belong to the right-hand side. */
  readonly sums: Float64Array;
  readonly weight: number;
}

const BLOCK = 128;

/**
 * @param columns one array per unknown, all of one length
 * @param weights one per row; undefined: all 1
 */
export function normalEquations(
  columns: readonly ArrayLike<number>[],
  target: ArrayLike<number>,
  weights?: ArrayLike<number>,
): NormalEquations {
  const unknowns = columns.length;
  const size = unknowns + 1;
  const sums = new Float64Array(size * size);
  const all = [...columns, target];
  const rows = target.length;
  const block = new Float64Array(size * BLOCK);
  const scaled = new Float64Array(BLOCK);
  let weight = 0;
  // In blocks of rows, so that pairs of columns are walked along while they are in the cache.
  for (let from = 0; from < rows; from += BLOCK) {
    const count = Math.min(BLOCK, rows - from);
    for (let i = 0; i < size; i++) {
      const column = all[i]!;
      for (let n = 0; n < count; n++) block[i * BLOCK + n] = column[from + n]!;
    }
    for (let n = 0; n < count; n++) weight += weights ? weights[from + n]! : 1;
    for (let i = 0; i < size; i++) {
      for (let n = 0; n < count; n++) scaled[n] = block[i * BLOCK + n]! * (weights ? weights[from + n]! : 1);
      for (let j = i; j < size; j++) {
        const base = j * BLOCK;
        let sum = 0;
        for (let n = 0; n < count; n++) sum += scaled[n]! * block[base + n]!;
        sums[i * size + j]! += sum;
      }
    }
  }
  for (let i = 0; i < size; i++) for (let j = 0; j < i; j++) sums[i * size + j] = sums[j * size + i]!;
  return { unknowns, sums, weight };
}

export interface Solution {
  readonly values: Float64Array;
  /** Diagonal of the inverse of the matrix: variances for rows of unit variance. */
  readonly variances: Float64Array;
}

/**
 * Solves (N + diag(ridge)) x = b by Cholesky decomposition. Unknowns whose column is empty come out as 0.
 * @param ridge added to the diagonal, one per unknown
 */
export function solveNormal(equations: NormalEquations, ridge: ArrayLike<number>): Solution {
  const n = equations.unknowns;
  const size = n + 1;
  const { sums } = equations;
  const matrix = new Float64Array(n * n);
  const right = new Float64Array(n);
  for (let i = 0; i < n; i++) {
    for (let j = 0; j < n; j++) matrix[i * n + j] = sums[i * size + j]!;
    matrix[i * n + i]! += ridge[i]!;
    if (matrix[i * n + i] === 0) matrix[i * n + i] = 1;
    right[i] = sums[i * size + n]!;
  }
  const lower = cholesky(matrix, n);
  const values = substitute(lower, right, n);
  const variances = new Float64Array(n);
  const unit = new Float64Array(n);
  for (let i = 0; i < n; i++) {
    unit.fill(0);
    unit[i] = 1;
    variances[i] = substitute(lower, unit, n)[i]!;
  }
  return { values, variances };
}

/**
 * Solves A x = b for a symmetric, positive definite A.
 * @param matrix n * n; its lower triangle is read
 */
export const solveSymmetric = (matrix: Float64Array, right: Float64Array): Float64Array =>
  substitute(cholesky(matrix, right.length), right, right.length);

/** Lower triangle L with L L' = matrix; a pivot lost to rounding is replaced, so that its unknown stays near 0. */
function cholesky(matrix: Float64Array, n: number): Float64Array {
  const lower = new Float64Array(n * n);
  for (let i = 0; i < n; i++) {
    for (let j = 0; j <= i; j++) {
      let sum = matrix[i * n + j]!;
      for (let k = 0; k < j; k++) sum -= lower[i * n + k]! * lower[j * n + k]!;
      if (i === j) {
        const least = 1e-12 * matrix[i * n + i]!;
        lower[i * n + i] = sum > least ? Math.sqrt(sum) : Math.sqrt(matrix[i * n + i]!) * 1e6;
      } else lower[i * n + j] = sum / lower[j * n + j]!;
    }
  }
  return lower;
}

function substitute(lower: Float64Array, right: Float64Array, n: number): Float64Array {
  const x = Float64Array.from(right);
  for (let i = 0; i < n; i++) {
    for (let k = 0; k < i; k++) x[i]! -= lower[i * n + k]! * x[k]!;
    x[i]! /= lower[i * n + i]!;
  }
  for (let i = n - 1; i >= 0; i--) {
    for (let k = i + 1; k < n; k++) x[i]! -= lower[k * n + i]! * x[k]!;
    x[i]! /= lower[i * n + i]!;
  }
  return x;
}
