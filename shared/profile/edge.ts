/** One edge on a profile: the 50 % point between two plateaus, by a fit of a blurred step on a sloping ground. */
import type { Profile } from './band.ts';
import { fitModel, type Model, propagate } from './least-squares.ts';
import { meanCovariance, type NoiseModel } from './noise.ts';
import { normalCdf, normalDensity } from './normal.ts';

/** What is known of the blur beforehand, in pixels: standard deviation of a Gaussian, and its uncertainty. */
export interface Blur {
  readonly sdPx: number;
  readonly uncertaintyPx: number;
}

export interface EdgeFit {
  readonly kind: 'edge';
  /** Position along the path, pixels. */
  readonly atPx: number;
  /** Grey behind the edge minus grey before it. */
  readonly rise: number;
  readonly blurPx: number;
  /** Standard uncertainties from noise alone. */
  readonly noisePx: number;
  readonly riseNoise: number;
  readonly blurNoisePx: number;
  /** Change of the position per pixel of change of the blur; 0 where the blur was fitted. */
  readonly perBlur: number;
  /** Root mean square of data minus model over the rise. */
  readonly misfit: number;
  /** First sample of the stretch that was fitted, and the response of the position to each of its samples. */
  readonly first: number;
  readonly response: Float64Array;
}

export interface Refusal {
  readonly kind: 'refused';
  readonly reason: string;
}

export const refused = (reason: string): Refusal => ({ kind: 'refused', reason });

/**
 * Plateaus are let bend only where this many standard deviations of the blur lie beside an edge: on shorter ones the
 * bend and the edge look alike.
 */
export const BEND_FROM = 4.5;

/** An edge counts as seen when its rise is this many times its own uncertainty. */
export const SEEN = 3;

export interface EdgeRequest {
  /** First and last sample used: a stretch with this edge and no other. */
  readonly first: number;
  readonly last: number;
  /** First guess of the position along the path, pixels. */
  readonly nearPx: number;
  /** Known blur; fitted with the edge when left out. */
  readonly blur?: Blur;
  readonly noise: NoiseModel;
  /** Of each sample of the stretch; all alike when left out. */
  readonly weights?: Float64Array;
}

/** A stretch of a profile between two places that need not be samples. */
export interface Stretch {
  readonly first: number;
  readonly last: number;
  /** Samples fade out over the last step at either end, so that a fit changes steadily with where the ends lie. */
  readonly weights: Float64Array;
}

export function stretchOf(profile: Profile, fromPx: number, toPx: number): Stretch {
  const step = profile.stepPx;
  const first = Math.max(0, Math.floor(fromPx / step + 1e-9) + 1);
  const last = Math.min(profile.values.length - 1, Math.ceil(toPx / step - 1e-9) - 1);
  const weights = Float64Array.from({ length: Math.max(0, last - first + 1) }, (_, n) => {
    const at = (first + n) * step;
    return Math.min(1, (at - fromPx) / step, (toPx - at) / step);
  });
  return { first, last, weights };
}

/**
 * Position of an edge.
 *
 * A missing cone and neighbouring shapes tilt and bend the plateaus. A ground of second order under a Gaussian-blurred
 * step takes both up, as long as the stretch is centred on the edge.
 */
export function fitEdge(profile: Profile, request: EdgeRequest): EdgeFit | Refusal {
  const { first, last, nearPx, blur, noise } = request;
  const data = profile.values.slice(first, last + 1);
  const step = profile.stepPx;
  const origin = first * step;
  const length = (last - first) * step;
  const near = nearPx - origin;
  if (!(near > 0 && near < length)) return refused('the edge lies outside the profile');
  const middle = length / 2;
  const start = startOfEdge(data, step, near, blur?.sdPx ?? 1);
  const free = blur === undefined;
  const bends = Math.min(near, length - near) >= BEND_FROM * (blur?.sdPx ?? 1);
  const count = 4 + (free ? 1 : 0) + (bends ? 1 : 0);
  const model = edgeModel(step, middle, free ? null : blur.sdPx, bends);
  const allowed = (p: Float64Array) =>
    p[0]! > 0 && p[0]! < length && (!free || (p[4]! > 0.1 && p[4]! < length));
  const guess = [...start, ...(free ? [1] : []), 0].slice(0, count);
  const fit = fitModel(data, guess, model, allowed, request.weights);
  if (!fit?.converged) return refused('no edge model fits the profile');
  const lags = meanCovariance(noise, profile.lines, profile.stepPx, profile.lineStepPx);
  const row = (n: number) => fit.response.subarray(n * data.length, (n + 1) * data.length);
  const sd = (n: number) => Math.sqrt(Math.max(0, propagate(row(n), row(n), lags)));
  const [at, , , rise] = fit.parameters as unknown as readonly [number, number, number, number];
  if (!(Math.abs(rise) > SEEN * sd(3))) return refused('the edge does not stand out from the noise');
  const blurPx = free ? fit.parameters[4]! : blur.sdPx;
  let squares = 0;
  for (const r of fit.residual) squares += r * r;
  return {
    kind: 'edge',
    atPx: origin + at,
    rise,
    blurPx,
    noisePx: sd(0),
    riseNoise: sd(3),
    blurNoisePx: free ? sd(4) : 0,
    perBlur: free ? 0 : perBlur(row(0), step, at, rise, blurPx),
    misfit: Math.sqrt(squares / data.length) / Math.abs(rise),
    first,
    response: Float64Array.from(row(0)),
  };
}

/** Position, level, slope, rise, then the blur where it is not known, then the bend where there is one. */
function edgeModel(step: number, middle: number, known: number | null, bends: boolean): Model {
  const bendAt = known === null ? 5 : 4;
  return (p, value, slopes) => {
    const [at, level, slope, rise] = p as unknown as readonly [number, number, number, number];
    const sd = known ?? p[4]!;
    const bend = bends ? p[bendAt]! : 0;
    const n = value.length;
    for (let i = 0; i < n; i++) {
      const x = i * step;
      const z = (x - at) / sd;
      const phi = normalCdf(z);
      const density = normalDensity(z) / sd;
      const u = x - middle;
      value[i] = level + (slope + bend * u) * u + rise * phi;
      slopes[i] = -rise * density;
      slopes[n + i] = 1;
      slopes[2 * n + i] = u;
      slopes[3 * n + i] = phi;
      if (bends) slopes[bendAt * n + i] = u * u;
      if (known === null) slopes[4 * n + i] = -rise * density * z;
    }
  };
}

/** Response of the position to the blur: minus the response to what the model changes by. */
function perBlur(response: Float64Array, step: number, at: number, rise: number, sd: number): number {
  let sum = 0;
  for (let i = 0; i < response.length; i++) {
    const z = (i * step - at) / sd;
    sum += response[i]! * rise * (normalDensity(z) / sd) * z;
  }
  return sum;
}

function startOfEdge(data: Float64Array, step: number, near: number, sd: number): number[] {
  const before = meanWhere(data, (i) => i * step < near - sd);
  const after = meanWhere(data, (i) => i * step > near + sd);
  return [near, before, 0, after - before];
}

export function meanWhere(data: Float64Array, where: (sample: number) => boolean): number {
  let sum = 0;
  let count = 0;
  for (let i = 0; i < data.length; i++) {
    if (!where(i)) continue;
    sum += data[i]!;
    count++;
  }
  return count > 0 ? sum / count : data[0]!;
}
