/** A line (or a space) on a profile: two edges, fitted apart where they stand apart, together where blur joins them. */
import type { Profile } from './band.ts';
import {
  BEND_FROM,
  type Blur,
  type EdgeFit,
  fitEdge,
  meanWhere,
  type Refusal,
  refused,
  SEEN,
  stretchOf,
} from './edge.ts';
import { fitModel, type Model, propagate } from './least-squares.ts';
import { meanCovariance, type NoiseModel } from './noise.ts';
import { FULL_WIDTH_HALF_MAXIMUM, normalCdf, normalDensity } from './normal.ts';

export interface LineFit {
  readonly kind: 'line';
  readonly leftPx: number;
  readonly rightPx: number;
  readonly widthPx: number;
  /** Grey inside minus grey outside. */
  readonly contrast: number;
  readonly blurPx: number;
  /** Standard uncertainty of the width from noise and sampling, from the blur, and both together. */
  readonly noisePx: number;
  readonly fromBlurPx: number;
  readonly uncertaintyPx: number;
  /** Standard uncertainty of the middle, which the blur does not move. */
  readonly middleNoisePx: number;
  readonly leftNoisePx: number;
  readonly rightNoisePx: number;
  /** apart: each edge by itself; joint: one model of both, which takes the blur off a narrow line. */
  readonly way: 'apart' | 'joint';
  readonly misfit: number;
}

export interface LineRequest {
  /** First guesses of the two edges along the path, pixels. */
  readonly leftPx: number;
  readonly rightPx: number;
  /** Stretch that holds these two edges and no others, pixels along the path; the whole profile when left out. */
  readonly fromPx?: number;
  readonly toPx?: number;
  /** Known blur. Without it the blur is fitted, which needs a line several times wider. */
  readonly blur?: Blur;
  readonly noise: NoiseModel;
  /** Narrowest width that is given, in full widths at half maximum of the blur. */
  readonly leastInBlurs?: number;
}

/** Widths from which each edge has a plateau of its own on both sides, in standard deviations of the blur. */
export const APART = 9;
/** Guesses no further than this from that limit do not decide, in standard deviations of the blur. */
const APART_DOUBT = 1.5;
/** Without a known blur, narrower lines than this (in standard deviations) are refused: width and blur look alike. */
const OWN_BLUR_LEAST = 6;
/** ... unless there is so little noise that the width is known to this share all the same. */
const OWN_BLUR_SURE = 0.02;
/** A stretch of this many standard deviations on either side tells plateau from edge. */
const REACH = 6;
export const LEAST_IN_BLURS = 1.4;
/** Fits of one line at the most, and the change below which the next would say the same. */
const ROUNDS = 3;
const STILL_PX = 0.02;

/**
 * Width of a line or space: the distance of its two edges at half height. Below `leastInBlurs` full widths of the blur
 * it is refused: contrast and width of such a line look alike.
 */
export function measureLine(profile: Profile, request: LineRequest): LineFit | Refusal {
  const { blur } = request;
  const end = (profile.values.length - 1) * profile.stepPx;
  const from = Math.max(0, request.fromPx ?? 0);
  const to = Math.min(end, request.toPx ?? end);
  const guess = request.rightPx - request.leftPx;
  if (!(guess > 0 && request.leftPx > from && request.rightPx < to)) {
    return refused('the two edges do not lie on the profile');
  }
  const sd = blur?.sdPx ?? 1;
  const settle = (apart: boolean) => settled(profile, request, apart, from, to, sd);
  let fit: LineFit | Refusal | null = null;
  let apart = guess >= APART * sd;
  if (Math.abs(guess / sd - APART) < APART_DOUBT) {
    // Close to the limit the way is chosen by what is found, not by the guess: two guesses must not give two widths.
    fit = settle(false);
    if (fit.kind === 'line') apart = fit.widthPx >= APART * sd;
  }
  if (!fit || apart || fit.kind === 'refused') fit = settle(apart);
  if (fit.kind === 'refused') return fit;
  const least = (request.leastInBlurs ?? LEAST_IN_BLURS) * FULL_WIDTH_HALF_MAXIMUM * fit.blurPx;
  // Shown to be wider, not found to be: else those of too narrow lines that noise made wide would be let through.
  if (fit.widthPx - 2 * fit.uncertaintyPx < least) {
    return refused('narrower than the blur: width and contrast of such a line look alike');
  }
  const vague = fit.uncertaintyPx > OWN_BLUR_SURE * fit.widthPx;
  if (!blur && fit.way === 'joint' && vague && fit.widthPx < OWN_BLUR_LEAST * fit.blurPx) {
    return refused('too narrow to tell its width from the blur; measure the blur on a wider line first');
  }
  if (fit.uncertaintyPx > fit.widthPx / 3) return refused('the noise leaves the width open');
  return fit;
}

/** Fits until stretches are centred on what was found, not on the guess: whoever guesses otherwise finds the same. */
function settled(
  profile: Profile,
  request: LineRequest,
  apart: boolean,
  from: number,
  to: number,
  sd: number,
): LineFit | Refusal {
  let centred = request;
  let fit: LineFit | Refusal = refused('no line model fits the profile');
  for (let round = 0; round < ROUNDS; round++) {
    fit = apart ? measureApart(profile, centred, from, to, sd) : measureJoint(profile, centred, from, to);
    // Without a known blur a single faint edge may leave slope and blur open where both edges together do not.
    if (apart && !request.blur && fit.kind === 'refused') fit = measureJoint(profile, centred, from, to);
    if (fit.kind === 'refused') return fit;
    const moved = Math.max(Math.abs(fit.leftPx - centred.leftPx), Math.abs(fit.rightPx - centred.rightPx));
    if (moved < STILL_PX) break;
    if (!(fit.leftPx > from && fit.rightPx < to)) break;
    centred = { ...request, leftPx: fit.leftPx, rightPx: fit.rightPx };
  }
  return fit;
}

function measureApart(
  profile: Profile,
  request: LineRequest,
  from: number,
  to: number,
  sd: number,
): LineFit | Refusal {
  const { leftPx, rightPx, noise, blur } = request;
  const half = (rightPx - leftPx) / 2;
  // Each stretch is centred on its edge and as long as the narrower side allows.
  const edge = (at: number, room: number): EdgeFit | Refusal => {
    const reach = Math.min(Math.max(REACH * sd, 6), half, room);
    if (reach < 2 * sd) return refused('another edge is too close');
    const stretch = stretchOf(profile, at - reach, at + reach);
    return fitEdge(profile, { ...stretch, nearPx: at, ...(blur ? { blur } : {}), noise });
  };
  const left = edge(leftPx, leftPx - from);
  if (left.kind === 'refused') return left;
  const right = edge(rightPx, to - rightPx);
  if (right.kind === 'refused') return right;
  if (left.rise * right.rise > 0) return refused('grey rises at both edges: no line');
  const noisePx = Math.hypot(left.noisePx, right.noisePx);
  const fromBlurPx = Math.abs(right.perBlur - left.perBlur) * (blur?.uncertaintyPx ?? 0);
  return {
    kind: 'line',
    leftPx: left.atPx,
    rightPx: right.atPx,
    widthPx: right.atPx - left.atPx,
    contrast: (left.rise - right.rise) / 2,
    blurPx: (left.blurPx + right.blurPx) / 2,
    noisePx,
    fromBlurPx,
    uncertaintyPx: Math.hypot(noisePx, fromBlurPx),
    middleNoisePx: noisePx / 2,
    leftNoisePx: left.noisePx,
    rightNoisePx: right.noisePx,
    way: 'apart',
    misfit: Math.max(left.misfit, right.misfit),
  };
}

function measureJoint(profile: Profile, request: LineRequest, from: number, to: number): LineFit | Refusal {
  const { noise, blur } = request;
  const step = profile.stepPx;
  const sd = blur?.sdPx ?? 1;
  const room = Math.min(request.leftPx - from, to - request.rightPx, Math.max(REACH * sd, 6));
  if (room < 2 * sd) return refused('another edge is too close');
  const { first, last, weights } = stretchOf(profile, request.leftPx - room, request.rightPx + room);
  const data = profile.values.slice(first, last + 1);
  const origin = first * step;
  const length = (last - first) * step;
  const [a, b] = [request.leftPx - origin, request.rightPx - origin];
  const ground = meanWhere(data, (i) => i * step < a - sd || i * step > b + sd);
  const inside = meanWhere(data, (i) => i * step > a + sd / 2 && i * step < b - sd / 2);
  const free = blur === undefined;
  const bends = room >= BEND_FROM * sd;
  const start = [a, b, ground, 0, inside - ground || 1e-9, ...(free ? [1] : []), ...(bends ? [0] : [])];
  const model = lineModel(step, length / 2, free ? null : blur.sdPx, bends);
  const allowed = (p: Float64Array) =>
    p[0]! > 0 && p[1]! < length && p[1]! - p[0]! > 0.2 && (!free || (p[5]! > 0.1 && p[5]! < length));
  const fit = fitModel(data, start, model, allowed, weights);
  if (!fit?.converged) return refused('no line model fits the profile');
  const lags = meanCovariance(noise, profile.lines, profile.stepPx, profile.lineStepPx);
  const row = (n: number) => fit.response.subarray(n * data.length, (n + 1) * data.length);
  const difference = row(1).map((v, n) => v - row(0)[n]!);
  const middle = row(1).map((v, n) => (v + row(0)[n]!) / 2);
  const sdOf = (r: Float64Array) => Math.sqrt(Math.max(0, propagate(r, r, lags)));
  const [left, right, , , contrast] = fit.parameters as unknown as readonly [
    number,
    number,
    number,
    number,
    number,
  ];
  if (!(Math.abs(contrast) > SEEN * sdOf(row(4))))
    return refused('the line does not stand out from the noise');
  const blurPx = free ? fit.parameters[5]! : blur.sdPx;
  const noisePx = sdOf(difference);
  const perBlur = free ? 0 : widthPerBlur(difference, step, left, right, contrast, blurPx);
  const fromBlurPx = Math.abs(perBlur) * (blur?.uncertaintyPx ?? 0);
  let squares = 0;
  for (const r of fit.residual) squares += r * r;
  return {
    kind: 'line',
    leftPx: origin + left,
    rightPx: origin + right,
    widthPx: right - left,
    contrast,
    blurPx,
    noisePx,
    fromBlurPx,
    uncertaintyPx: Math.hypot(noisePx, fromBlurPx),
    middleNoisePx: sdOf(middle),
    leftNoisePx: sdOf(row(0)),
    rightNoisePx: sdOf(row(1)),
    way: 'joint',
    misfit: Math.sqrt(squares / data.length) / Math.abs(contrast),
  };
}

/** Left, right, level, slope, contrast, then the blur where it is not known, then the bend where there is one. */
function lineModel(step: number, middle: number, known: number | null, bends: boolean): Model {
  const bendAt = known === null ? 6 : 5;
  return (p, value, slopes) => {
    const [left, right, level, slope, contrast] = p as unknown as readonly [
      number,
      number,
      number,
      number,
      number,
    ];
    const sd = known ?? p[5]!;
    const bend = bends ? p[bendAt]! : 0;
    const n = value.length;
    for (let i = 0; i < n; i++) {
      const x = i * step;
      const za = (x - left) / sd;
      const zb = (x - right) / sd;
      const shape = normalCdf(za) - normalCdf(zb);
      const da = normalDensity(za) / sd;
      const db = normalDensity(zb) / sd;
      const u = x - middle;
      value[i] = level + (slope + bend * u) * u + contrast * shape;
      slopes[i] = -contrast * da;
      slopes[n + i] = contrast * db;
      slopes[2 * n + i] = 1;
      slopes[3 * n + i] = u;
      slopes[4 * n + i] = shape;
      if (bends) slopes[bendAt * n + i] = u * u;
      if (known === null) slopes[5 * n + i] = contrast * (db * zb - da * za);
    }
  };
}

function widthPerBlur(
  response: Float64Array,
  step: number,
  left: number,
  right: number,
  contrast: number,
  sd: number,
): number {
  let sum = 0;
  for (let i = 0; i < response.length; i++) {
    const za = (i * step - left) / sd;
    const zb = (i * step - right) / sd;
    // Response to minus the model's own change with the blur.
    sum += (response[i]! * contrast * (normalDensity(za) * za - normalDensity(zb) * zb)) / sd;
  }
  return sum;
}
