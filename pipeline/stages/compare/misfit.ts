/**
 * How far a model may be off, pixel by pixel, besides the noise of the scan. Contrast that differs from shape to shape,
 * edges that stand a little aside, halos that are not quite as modelled: all of them are shares of what the model puts
 * there. Beside strong metal in a faint layer they are far more than the noise.
 */
import { blurPlane } from '../../kernels/gaussian-plane.ts';
import type { Canvas } from './canvas.ts';
import type { ModelImage } from './model-images.ts';

/**
 * Least and most shares of the layer's own part, of its slope (pixels), of the others and of theirs. The least are what
 * half a voxel of residual placement and a few per cent of contrast leave in the best of scans (common practice, no
 * source).
 */
const LEAST = [0.04, 0.1, 0.05, 0.1] as const;
const MOST = [0.25, 0.5, 0.4, 0.8] as const;
const SAMPLES = 40_000;
const ROUNDS = 8;
/** A residual counts with at most this many deviations: a finding is no misfit, even where one via in ten is one. */
const LIMIT = 2;
/** Mean of the square of a normal deviate that is held to two: 0.9545 - 4 x 0.0540 + 4 x 0.0455. */
const HELD = 0.9205;
/** What is off at a pixel is off around it. */
const SPREAD_PX = 1.5;

/**
 * Deviation of the residual over that of the noise alone, at least 1. The variance is taken as noise plus squared shares
 * of the squares; the shares maximise the likelihood of a normal distribution (scoring on the gamma-distributed squares
 * of the residual).
 * @source McCullagh and Nelder, Generalized Linear Models, 2nd ed. (1989), chapters 8 and 10
 */
export function misfit(residual: Float32Array, squares: ModelImage['squares'], canvas: Canvas): Float32Array {
  const rows: number[] = [];
  const step = Math.max(1, Math.floor(residual.length / SAMPLES));
  for (let n = 0; n < residual.length; n += step) if (canvas.mask[n] !== 0) rows.push(n);
  const sampled = (plane: Float32Array): Float64Array => {
    const out = new Float64Array(rows.length);
    for (let k = 0; k < out.length; k++) out[k] = plane[rows[k]!]!;
    return out;
  };
  const shares = fitShares(
    sampled(residual).map((v) => v * v),
    squares.map(sampled),
  );
  const out = new Float32Array(residual.length);
  const [own, ownSlope, others, slopes] = squares;
  const [a, b, c, d] = shares.of as [number, number, number, number];
  for (let n = 0; n < out.length; n++)
    out[n] = a * own[n]! + b * ownSlope[n]! + c * others[n]! + d * slopes[n]!;
  blurPlane(out, canvas.width, canvas.height, SPREAD_PX, out);
  for (let n = 0; n < out.length; n++) out[n] = Math.sqrt(1 + out[n]! / Math.max(shares.noise, 1e-30));
  return out;
}

interface Shares {
  /** Variance of the noise. */
  readonly noise: number;
  /** Squared shares. */
  readonly of: readonly number[];
}

function fitShares(target: Float64Array, columns: readonly Float64Array[]): Shares {
  const low = [0, ...LEAST.map((v) => v * v)];
  const high = [Infinity, ...MOST.map((v) => v * v)];
  const sorted = Float64Array.from(target).sort();
  // Half of the squares of a normal distribution lie below 0.455 variances.
  const values = [sorted[sorted.length >> 1]! / 0.455, ...LEAST.map((v) => v * v)];
  const size = values.length;
  for (let round = 0; round < ROUNDS; round++) {
    const normal = new Float64Array(size * size);
    const right = new Float64Array(size);
    const x = new Float64Array(size);
    x[0] = 1;
    for (let n = 0; n < target.length; n++) {
      let variance = values[0]!;
      for (let k = 1; k < size; k++) {
        x[k] = columns[k - 1]![n]!;
        variance += values[k]! * x[k]!;
      }
      if (!(variance > 0)) continue;
      const weight = 1 / (variance * variance);
      const y = Math.min(target[n]!, LIMIT * LIMIT * variance) / HELD;
      for (let i = 0; i < size; i++) {
        right[i]! += weight * x[i]! * y;
        for (let j = i; j < size; j++) normal[i * size + j]! += weight * x[i]! * x[j]!;
      }
    }
    for (let i = 0; i < size; i++) for (let j = 0; j < i; j++) normal[i * size + j] = normal[j * size + i]!;
    descend(normal, right, values, low, high);
  }
  return { noise: values[0]!, of: values.slice(1) };
}

/** Least squares within bounds, one unknown after the other. */
function descend(
  normal: Float64Array,
  right: Float64Array,
  values: number[],
  low: readonly number[],
  high: readonly number[],
): void {
  const size = values.length;
  for (let sweep = 0; sweep < 60; sweep++)
    for (let i = 0; i < size; i++) {
      const own = normal[i * size + i]!;
      if (!(own > 0)) continue;
      let rest = right[i]!;
      for (let j = 0; j < size; j++) if (j !== i) rest -= normal[i * size + j]! * values[j]!;
      values[i] = Math.min(Math.max(rest / own, low[i]!), high[i]!);
    }
}
