/** Takes the tilt of the layers out of what was gathered, and turns sums into features of every depth. */
import { percentile } from '../../../kernels/statistics.ts';
import type { BlockTexture, Texture } from './gather-texture.ts';

export interface DepthFeatures {
  readonly nz: number;
  readonly lags: number;
  /** How alike bins k and k + lag are, noise taken off; on the diagonal 1 where structure is far above noise, 0 where none. */
  readonly alike: Float64Array;
  /** From -1 to 1: edges run along one axis of the wiring, or along the other. */
  readonly direction: Float64Array;
  /** Skewness of the grey values towards the denser side, above 0 where few spots stand out. */
  readonly skew: Float64Array;
  /** Rise of the layers against the slices, bins per voxel along i and j. */
  readonly tilt: readonly [number, number];
}

/** Largest tilt looked for, as a slope. */
const MOST_SLOPE = 0.035;
const QUIET = 0.1;
/** Step of the search for a tilt, bins at the rim of the field. */
const TILT_STEP = 0.35;

/** @param binPerVoxel height of a bin in units of the voxel's width */
export function levelTexture(texture: Texture, binPerVoxel: number): DepthFeatures {
  const { nz, lags, blocks } = texture;
  const noise = noiseByLag(texture);
  const tilt = findTilt(texture, noise, binPerVoxel);
  const shifts = blocks.map(({ at }) => Math.round(tilt[0] * at[0] + tilt[1] * at[1]));
  const sum = (
    of: (block: BlockTexture) => Float64Array,
    stride: number,
    k: number,
    offset: number,
  ): number =>
    blocks.reduce((total, block, b) => {
      const at = k + shifts[b]!;
      return at >= 0 && at < nz ? total + of(block)[at * stride + offset]! : total;
    }, 0);
  const pixels = (k: number): number =>
    blocks.reduce((total, block, b) => {
      const at = k + shifts[b]!;
      return at >= 0 && at < nz ? total + block.pixels : total;
    }, 0);
  const raw = new Float64Array(nz * lags);
  for (let k = 0; k < nz; k++)
    for (let lag = 0; lag < Math.min(lags, nz - k); lag++)
      raw[k * lags + lag] = sum((b) => b.products, lags, k, lag) - noise[lag]! * pixels(k);
  // On the diagonal noise is strongest; what is common to neighbours stands for the structure.
  const power = Float64Array.from({ length: nz }, (_, k) => {
    const near = [k * lags + 1, (k - 1) * lags + 1].filter((n) => n >= 0 && lags > 1).map((n) => raw[n]!);
    return Math.max(0, ...near, 0);
  });
  const floor = noise[0]! * 0.1;
  const alike = new Float64Array(nz * lags);
  for (let k = 0; k < nz; k++)
    for (let lag = 0; lag < Math.min(lags, nz - k); lag++) {
      const value = lag === 0 ? power[k]! : raw[k * lags + lag]!;
      const scale = Math.sqrt(
        (power[k]! + floor * pixels(k) + 1e-30) * (power[k + lag]! + floor * pixels(k + lag) + 1e-30),
      );
      alike[k * lags + lag] = Math.max(-1, Math.min(1, value / scale));
    }
  return { nz, lags, alike, tilt, ...shapes(nz, sum, pixels) };
}

/** Noise shared by bins at each distance, per pixel: what is left where there is least structure. */
function noiseByLag({ nz, lags, blocks }: Texture): Float64Array {
  const pixels = blocks.reduce((total, block) => total + block.pixels, 0);
  const totals = Array.from(
    { length: nz },
    (_, k) => blocks.reduce((t, b) => t + b.products[k * lags]!, 0) / pixels,
  );
  const limit = percentile(Float64Array.from(totals).sort(), QUIET);
  const quiet = totals.flatMap((total, k) => (total <= limit ? [k] : []));
  return Float64Array.from({ length: lags }, (_, lag) => {
    // Noise reaches no farther than the point spread.
    if (lag > 3) return 0;
    const values = quiet.filter((k) => k + lag < nz);
    if (values.length === 0) return 0;
    return Math.max(
      0,
      values.reduce((t, k) => t + blocks.reduce((s, b) => s + b.products[k * lags + lag]!, 0), 0) /
        (values.length * pixels),
    );
  });
}

/** The plane along which the blocks' power and change with depth agree best. */
function findTilt({ nz, lags, blocks }: Texture, noise: Float64Array, binPerVoxel: number): [number, number] {
  if (blocks.length < 6) return [0, 0];
  const gap = Math.min(4, lags - 1);
  const curves = blocks.map((block) => {
    const power = Float64Array.from({ length: nz }, (_, k) =>
      Math.log(
        Math.max(0.02 * noise[0]! + 1e-30, block.products[k * lags + 1]! / block.pixels - (noise[1] ?? 0)) +
          1e-30,
      ),
    );
    const change = Float64Array.from({ length: nz }, (_, k) => {
      const end = k + gap;
      if (end >= nz) return 0;
      const scale = Math.sqrt(Math.abs(block.products[k * lags]! * block.products[end * lags]!)) + 1e-30;
      return block.products[k * lags + gap]! / scale;
    });
    return [standard(power), standard(change)];
  });
  const reach = Math.max(...blocks.map(({ at }) => Math.hypot(...at)));
  const most = (MOST_SLOPE * reach) / binPerVoxel;
  const steps = Math.max(1, Math.ceil(most / TILT_STEP));
  let best: [number, number] = [0, 0];
  let bestScore = -Infinity;
  for (let a = -steps; a <= steps; a++)
    for (let b = -steps; b <= steps; b++) {
      const tilt: [number, number] = [((a / steps) * most) / reach, ((b / steps) * most) / reach];
      const shifts = blocks.map(({ at }) => tilt[0] * at[0] + tilt[1] * at[1]);
      const edge = Math.ceil(Math.max(...shifts.map(Math.abs))) + 1;
      if (nz - 2 * edge < nz / 2) continue;
      let score = 0;
      for (let k = edge; k < nz - edge; k++)
        for (const n of [0, 1]) {
          let total = 0;
          for (let g = 0; g < curves.length; g++) {
            const list = curves[g]![n]!;
            const low = Math.floor(k + shifts[g]!);
            const share = k + shifts[g]! - low;
            total += list[low]! * (1 - share) + list[low + 1]! * share;
          }
          score += total * total;
        }
      score /= nz - 2 * edge;
      // Of planes that do as well as each other the flattest is taken.
      score -= 1e-4 * (a * a + b * b) * score;
      if (score > bestScore) [best, bestScore] = [tilt, score];
    }
  return best;
}

function standard(values: Float64Array): Float64Array {
  const mean = values.reduce((s, v) => s + v, 0) / values.length;
  const sd = Math.sqrt(values.reduce((s, v) => s + (v - mean) ** 2, 0) / values.length) || 1;
  return values.map((v) => (v - mean) / sd);
}

type Sum = (of: (block: BlockTexture) => Float64Array, stride: number, k: number, offset: number) => number;

function shapes(
  nz: number,
  sum: Sum,
  pixels: (k: number) => number,
): Pick<DepthFeatures, 'direction' | 'skew'> {
  const tensor = Array.from({ length: nz }, (_, k) => [0, 1, 2].map((n) => sum((b) => b.tensor, 3, k, n)));
  // Wires run along two axes at right angles: with the angle doubled twice both fall together.
  let [cos, sin] = [0, 0];
  for (const [xx, xy, yy] of tensor as [number, number, number][]) {
    const size = Math.hypot(xx - yy, 2 * xy);
    const angle = 2 * Math.atan2(2 * xy, xx - yy);
    cos += size * Math.cos(angle);
    sin += size * Math.sin(angle);
  }
  const axis = Math.atan2(sin, cos) / 2;
  const direction = Float64Array.from(tensor as [number, number, number][], ([xx, xy, yy]) => {
    const along = Math.cos(axis) * (xx - yy) + Math.sin(axis) * 2 * xy;
    return xx + yy > 0 ? Math.max(-1, Math.min(1, along / (xx + yy))) : 0;
  });
  const skew = Float64Array.from({ length: nz }, (_, k) => {
    const count = Math.max(1, pixels(k));
    const square = sum((b) => b.moments, 2, k, 0) / count;
    return square > 0 ? sum((b) => b.moments, 2, k, 1) / count / square ** 1.5 : 0;
  });
  const polarity = Math.sign(skew.reduce((total, v) => total + Math.max(-3, Math.min(3, v)), 0)) || 1;
  return { direction, skew: skew.map((v) => v * polarity) };
}
