/**
 * Noise of a raster and how it hangs together: neighbouring samples of an interpolated, filtered image are not
 * independent. Two numbers describe it, so that one band of scan lines suffices to estimate it and an artefact can
 * carry it.
 */
import type { Band } from './band.ts';

export interface NoiseModel {
  /** Standard deviation of one sample, in grey. */
  readonly sd: number;
  /** Correlation of two samples one pixel apart; it falls off as a Gaussian of the distance, the same in all directions. */
  readonly correlation: number;
}

/** Running sums over the bands of one image. */
export interface NoiseSums {
  variance: number;
  neighbours: number;
  varianceTerms: number;
  neighbourTerms: number;
  /** Scan lines of the bands, weighted by their terms. */
  lines: number;
}

export const emptyNoiseSums = (): NoiseSums => ({
  variance: 0,
  neighbours: 0,
  varianceTerms: 0,
  neighbourTerms: 0,
  lines: 0,
});

/**
 * Adds the departures of a band's lines from their mean profile. Only samples that `quiet` allows are used: near an
 * edge the departures hold roughness as well as noise.
 */
export function addNoise(sums: NoiseSums, band: Band, quiet: (sample: number) => boolean): void {
  const { lines, count, values } = band;
  if (lines < 3) return;
  const lag = Math.max(1, Math.round(1 / band.stepPx));
  const rest = new Float64Array(values.length);
  for (let n = 0; n < count; n++) {
    let mean = 0;
    for (let l = 0; l < lines; l++) mean += values[l * count + n]!;
    mean /= lines;
    for (let l = 0; l < lines; l++) rest[l * count + n] = values[l * count + n]! - mean;
  }
  for (let n = 0; n < count; n++) {
    if (!quiet(n)) continue;
    const pair = n + lag < count && quiet(n + lag);
    for (let l = 0; l < lines; l++) {
      const r = rest[l * count + n]!;
      sums.variance += r * r;
      if (pair) sums.neighbours += r * rest[l * count + n + lag]!;
    }
    sums.varianceTerms += lines;
    sums.lines += lines * lines;
    if (pair) sums.neighbourTerms += lines;
  }
}

/** Correlations beyond this cannot be told from a slope of the ground. */
const MOST_CORRELATED = 0.95;
/** Cubic convolution half way between pixels leaves about this much between independent neighbours. */
const LEAST_CORRELATED = 0.05;

/**
 * Noise model from the sums. Subtracting the mean profile took the variance of that mean out of every product; it is
 * put back by fixed-point iteration. null where too little was seen.
 */
export function noiseModel(sums: NoiseSums): NoiseModel | null {
  if (sums.varianceTerms < 24 || sums.neighbourTerms < 12) return null;
  const seenVariance = sums.variance / sums.varianceTerms;
  const seenNeighbours = sums.neighbours / sums.neighbourTerms;
  if (!(seenVariance > 0)) return null;
  const lines = Math.round(sums.lines / sums.varianceTerms);
  const clamp = (r: number) => Math.min(MOST_CORRELATED, Math.max(LEAST_CORRELATED, r));
  let variance = seenVariance;
  let correlation = clamp(seenNeighbours / seenVariance);
  for (let round = 0; round < 20; round++) {
    const lags = meanCovariance({ sd: Math.sqrt(variance), correlation }, lines, 1, 1);
    variance = seenVariance + lags[0]!;
    correlation = clamp((seenNeighbours + lags[1]!) / variance);
  }
  return { sd: Math.sqrt(variance), correlation };
}

/** Distance in pixels beyond which the noise counts as independent. */
const REACH_PX = 6;

/**
 * Autocovariance along a profile that is the mean of `lines` scan lines, for lags of 0, 1, 2 ... samples.
 * For a Gaussian fall-off, correlation(d) = correlation(1 px) ^ (d^2), across and along alike.
 */
export function meanCovariance(
  noise: NoiseModel,
  lines: number,
  stepPx: number,
  lineStepPx: number,
): Float64Array {
  let across = 0;
  for (let l = 0; l < lines && l * lineStepPx <= REACH_PX; l++)
    across += ((l === 0 ? 1 : 2) * (1 - l / lines) * noise.correlation ** ((l * lineStepPx) ** 2)) / lines;
  const lags = new Float64Array(Math.floor(REACH_PX / stepPx) + 1);
  for (let n = 0; n < lags.length; n++)
    lags[n] = noise.sd ** 2 * across * noise.correlation ** ((n * stepPx) ** 2);
  return lags;
}
