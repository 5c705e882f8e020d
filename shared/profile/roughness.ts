/** Roughness of an edge: how far its scan lines depart from the straight line that fits them best. */
import type { Band } from './band.ts';
import type { EdgeFit } from './edge.ts';
import { propagate } from './least-squares.ts';
import { meanCovariance, type NoiseModel } from './noise.ts';

/** Position of every scan line's edge against the mean edge, pixels; needs the fit of the mean profile of the same band. */
export function edgeDepartures(band: Band, fit: EdgeFit): Float64Array {
  const { lines, count, values } = band;
  const { first, response } = fit;
  const mean = new Float64Array(response.length);
  for (let l = 0; l < lines; l++)
    for (let n = 0; n < mean.length; n++) mean[n]! += values[l * count + first + n]! / lines;
  return Float64Array.from({ length: lines }, (_, l) => {
    let shift = 0;
    for (let n = 0; n < mean.length; n++) shift += response[n]! * (values[l * count + first + n]! - mean[n]!);
    return shift;
  });
}

export interface RoughnessSample {
  /** Variance about the best-fit line as seen, and the part of it that noise explains, pixels squared. */
  readonly seen: number;
  readonly noise: number;
}

/**
 * Variance of departures about their best-fit line over the length of the band, with the bias that noise adds.
 * @source SEMI P47 abstract (departure from the best-fit line); Villarrubia 2005 abstract (image noise biases upwards).
 */
export function roughnessSample(
  departures: Float64Array,
  responses: readonly Float64Array[],
  noise: NoiseModel,
  stepPx: number,
  lineStepPx: number,
): RoughnessSample | null {
  const count = departures.length;
  if (count < 8) return null;
  const rest = withoutTrend(departures);
  let squares = 0;
  for (const r of rest) squares += r * r;
  const lags = meanCovariance(noise, 1, stepPx, lineStepPx);
  let variance = 0;
  for (const response of responses) variance += propagate(response, response, lags);
  // Level and slope take along what neighbouring lines have in common.
  const together = meanCovariance({ ...noise, sd: 1 }, count, stepPx, lineStepPx)[0]!;
  return {
    seen: squares / (count - 2),
    noise: (variance * count * (1 - 2 * together)) / (count - 2),
  };
}

function withoutTrend(values: Float64Array): Float64Array {
  const count = values.length;
  const centre = (count - 1) / 2;
  let mean = 0;
  let slope = 0;
  let spread = 0;
  values.forEach((v, n) => {
    mean += v / count;
    slope += v * (n - centre);
    spread += (n - centre) ** 2;
  });
  return values.map((v, n) => v - mean - (slope / spread) * (n - centre));
}
