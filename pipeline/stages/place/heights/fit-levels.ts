/**
 * Heights of all levels together, to a fraction of a plate. Every layer's strength against height is taken as a box
 * between its two levels, blurred along the depth, with the overshoot that a missing cone gives; all are found by damped Gauss-Newton steps
 * with the thicknesses of the process table as a prior. Blurring moves no half-height point of a thick layer, and of a
 * thin one the fit undoes what it moves.
 */
import { normal } from '../label-plates.ts';
import type { Ladder } from './levels.ts';
import { invert } from './profiles.ts';

export interface LayerProfile {
  readonly layer: number;
  /** What its strength answers to strength 1 of every layer of the stack. */
  readonly answers: ArrayLike<number>;
  readonly strength: Float64Array;
  /** Variance of each value, faults of the model included. */
  readonly variance: Float64Array;
}

export interface LevelFit {
  readonly heightsUm: Float64Array;
  /** True thickness of everything against the table. */
  readonly scale: number;
  /** For each profile. */
  readonly strength: Float64Array;
  readonly blurUm: Float64Array;
  readonly overshoot: Float64Array;
  readonly cost: number;
  /** Inverse of the whole normal matrix, heights first: covariance where the variances are right. */
  readonly covariance: Float64Array;
  /** What the prior alone adds to the covariance of the heights (sandwich), levels x levels. */
  readonly priorPart: Float64Array;
}

export interface LevelPrior {
  /** Standard deviation of a stretch's thickness as a share of it. */
  readonly thickness: number;
  /** Of the common scale. */
  readonly scale: number;
  /** Of the height of the middle of the stack, micrometres. */
  readonly offsetUm: number;
  /** Expected depth blur and its spread, as a share of it. */
  readonly blurUm: number;
  readonly blur: number;
  /** Expected overshoot and its spread. */
  readonly overshoot: number;
  readonly overshootSd: number;
}

/** Where the fit begins: heights, and a strength and a blur for each profile. */
export interface LevelStart {
  readonly heightsUm: ArrayLike<number>;
  readonly strength: ArrayLike<number>;
  readonly blurUm: ArrayLike<number>;
  readonly overshoot: ArrayLike<number>;
}

/** Added to every thickness's standard deviation: rounding in the table, micrometres. */
const ROUNDING_UM = 0.002;

export function fitLevels(
  ladder: Ladder,
  zUm: readonly number[],
  profiles: readonly LayerProfile[],
  prior: LevelPrior,
  start: LevelStart,
  rounds = 40,
): LevelFit {
  const levels = ladder.nominalUm.length;
  const count = unknowns(ladder, profiles.length);
  const x = new Float64Array(count);
  x.set(Float64Array.from({ length: levels }, (_, n) => start.heightsUm[n]!));
  x[levels] = scaleOf(ladder, x);
  profiles.forEach((_, n) => {
    x[levels + 1 + OWN * n] = start.strength[n]!;
    x[levels + 2 + OWN * n] = Math.log(start.blurUm[n]!);
    x[levels + 3 + OWN * n] = start.overshoot[n]!;
  });
  let damping = 1e-3;
  let state = assemble(ladder, zUm, profiles, prior, x);
  for (let round = 0; round < rounds; round++) {
    const damped = Float64Array.from(state.matrix);
    for (let i = 0; i < count; i++) damped[i * count + i]! *= 1 + damping;
    const inverse = invert(damped, count);
    if (!inverse) {
      damping *= 10;
      continue;
    }
    const trial = Float64Array.from(x);
    let moved = 0;
    for (let i = 0; i < count; i++) {
      let step = 0;
      for (let j = 0; j < count; j++) step -= inverse[i * count + j]! * state.gradient[j]!;
      trial[i]! += step;
      if (i < levels) moved = Math.max(moved, Math.abs(step));
    }
    keepOrder(trial, levels);
    const next = assemble(ladder, zUm, profiles, prior, trial);
    if (next.cost <= state.cost) {
      x.set(trial);
      const gain = state.cost - next.cost;
      state = next;
      damping = Math.max(1e-7, damping / 4);
      if (moved < 1e-5 && gain < 1e-6 * (1 + state.cost)) break;
    } else {
      damping *= 6;
      if (damping > 1e8) break;
    }
  }
  const covariance = invert(state.matrix, count) ?? new Float64Array(count * count).fill(Infinity);
  return {
    heightsUm: x.slice(0, levels),
    scale: x[levels]!,
    strength: Float64Array.from(profiles, (_, n) => x[levels + 1 + OWN * n]!),
    blurUm: Float64Array.from(profiles, (_, n) => Math.exp(x[levels + 2 + OWN * n]!)),
    overshoot: Float64Array.from(profiles, (_, n) => x[levels + 3 + OWN * n]!),
    cost: state.cost,
    covariance,
    priorPart: sandwich(covariance, state.prior, count, levels),
  };
}

function scaleOf(ladder: Ladder, heights: Float64Array): number {
  const last = ladder.nominalUm.length - 1;
  return (heights[last]! - heights[0]!) / (ladder.nominalUm[last]! - ladder.nominalUm[0]!);
}

/** No level may pass the next one. */
function keepOrder(x: Float64Array, levels: number): void {
  for (let n = 1; n < levels; n++) x[n] = Math.max(x[n]!, x[n - 1]! + 1e-4);
}

interface Normal {
  readonly cost: number;
  readonly gradient: Float64Array;
  readonly matrix: Float64Array;
  /** The prior's share of the matrix. */
  readonly prior: Float64Array;
}

/** Residuals, each with its few derivatives, summed into the normal equations. */
function assemble(
  ladder: Ladder,
  zUm: readonly number[],
  profiles: readonly LayerProfile[],
  prior: LevelPrior,
  x: Float64Array,
): Normal {
  const count = x.length;
  const levels = ladder.nominalUm.length;
  const gradient = new Float64Array(count);
  const matrix = new Float64Array(count * count);
  let cost = 0;
  const add = (residual: number, weight: number, at: readonly number[], slope: readonly number[]): void => {
    cost += (weight * residual * residual) / 2;
    at.forEach((i, a) => {
      gradient[i]! += weight * residual * slope[a]!;
      at.forEach((j, b) => {
        matrix[i * count + j]! += weight * slope[a]! * slope[b]!;
      });
    });
  };
  const { nominalUm } = ladder;
  for (let n = 0; n + 1 < levels; n++) {
    const nominal = nominalUm[n + 1]! - nominalUm[n]!;
    const sd = prior.thickness * nominal + ROUNDING_UM;
    add(x[n + 1]! - x[n]! - x[levels]! * nominal, 1 / (sd * sd), [n + 1, n, levels], [1, -1, -nominal]);
  }
  add(x[levels]! - 1, 1 / prior.scale ** 2, [levels], [1]);
  const middle = levels >> 1;
  add(x[middle]! - nominalUm[middle]!, 1 / prior.offsetUm ** 2, [middle], [1]);
  profiles.forEach((_, n) => {
    const at = levels + 2 + OWN * n;
    add(x[at]! - Math.log(prior.blurUm), 1 / prior.blur ** 2, [at], [1]);
    add(x[at + 1]! - prior.overshoot, 1 / prior.overshootSd ** 2, [at + 1], [1]);
  });
  const priorMatrix = Float64Array.from(matrix);
  const boxes = profiles.map((profile, n) =>
    boxWithSlopes(ladder, zUm, profile.layer, x, levels + 1 + OWN * n),
  );
  const mates = matesOf(profiles);
  const at: number[] = [];
  const slope: number[] = [];
  profiles.forEach(({ strength, variance }, n) => {
    for (let p = 0; p < zUm.length; p++) {
      const v = variance[p]!;
      if (!(v < Infinity)) continue;
      let predicted = 0;
      at.length = 0;
      slope.length = 0;
      for (const { profile, share } of mates[n]!) {
        const { first, last, values, unknown } = boxes[profile]!;
        if (p < first || p > last) continue;
        const from = (p - first) * 6;
        predicted += share * values[from]!;
        for (let k = 0; k < 5; k++) {
          at.push(unknown[k]!);
          slope.push(share * values[from + 1 + k]!);
        }
      }
      add(predicted - strength[p]!, 1 / v, at, slope);
    }
  });
  return { cost, gradient, matrix, prior: priorMatrix };
}

interface BoxSlopes {
  /** Heights it reaches, inclusive. */
  readonly first: number;
  readonly last: number;
  /** For each of them: the value, and its slopes by the unknowns. */
  readonly values: Float64Array;
  readonly unknown: readonly number[];
}

function boxWithSlopes(
  ladder: Ladder,
  zUm: readonly number[],
  layer: number,
  x: Float64Array,
  own: number,
): BoxSlopes {
  const [bottom, top] = [ladder.bottom[layer]!, ladder.top[layer]!];
  const [c, blur, over] = [x[own]!, Math.exp(x[own + 1]!), x[own + 2]!];
  const reach = TAIL * blur;
  let first = zUm.findIndex((z) => z >= x[bottom]! - reach);
  let last = zUm.findLastIndex((z) => z <= x[top]! + reach);
  if (first < 0 || last < first) [first, last] = [0, -1];
  const values = new Float64Array(6 * (last - first + 1));
  for (let p = first; p <= last; p++) {
    const u = (zUm[p]! - x[bottom]!) / blur;
    const w = (zUm[p]! - x[top]!) / blur;
    const sharp = normal(u) - normal(w);
    const wide = normal(u / WIDER) - normal(w / WIDER);
    const box = (1 + over) * sharp - over * wide;
    const fu = (1 + over) * bell(u) - (over * bell(u / WIDER)) / WIDER;
    const fw = (1 + over) * bell(w) - (over * bell(w / WIDER)) / WIDER;
    values.set(
      [c * box, (-c * fu) / blur, (c * fw) / blur, box, c * (w * fw - u * fu), c * (sharp - wide)],
      6 * (p - first),
    );
  }
  return { first, last, values, unknown: [bottom, top, own, own + 1, own + 2] };
}

/** Answers weaker than this are left out. */
const LEAST_ANSWER = 0.02;

const matesOf = (profiles: readonly LayerProfile[]): { profile: number; share: number }[][] =>
  profiles.map(({ answers }) =>
    profiles.flatMap((other, profile) => {
      const share = answers[other.layer]!;
      return Math.abs(share) > LEAST_ANSWER ? [{ profile, share }] : [];
    }),
  );

/** What the fit expects of a profile: of all layers together, and of the profile's own layer. */
export function expected(
  ladder: Ladder,
  zUm: readonly number[],
  profiles: readonly LayerProfile[],
  fit: LevelFit,
  n: number,
): { all: Float64Array; own: Float64Array } {
  const all = new Float64Array(zUm.length);
  const own = new Float64Array(zUm.length);
  for (const { profile, share } of matesOf(profiles)[n]!) {
    const { layer } = profiles[profile]!;
    const bottom = fit.heightsUm[ladder.bottom[layer]!]!;
    const top = fit.heightsUm[ladder.top[layer]!]!;
    zUm.forEach((z, p) => {
      const box = boxAt(z, bottom, top, fit.blurUm[profile]!, fit.overshoot[profile]!);
      const value = share * fit.strength[profile]! * box;
      all[p]! += value;
      if (profile === n) own[p] = value;
    });
  }
  return { all, own };
}

/** Strength, blur and overshoot of every profile follow the levels and the scale. */
const OWN = 3;

export const unknowns = (ladder: Ladder, profiles: number): number =>
  ladder.nominalUm.length + 1 + OWN * profiles;

/** The undershoot around a layer is so many times as wide as its blur. */
const WIDER = 2.5;

/** Strength of a layer of strength 1 at a height. */
export function boxAt(z: number, bottom: number, top: number, blur: number, overshoot: number): number {
  const [u, w] = [(z - bottom) / blur, (z - top) / blur];
  const wide = normal(u / WIDER) - normal(w / WIDER);
  return (1 + overshoot) * (normal(u) - normal(w)) - overshoot * wide;
}

/** Blurs from a face beyond which nothing is left of it. */
const TAIL = 6 * WIDER;

const bell = (x: number): number => Math.exp((-x * x) / 2) / Math.sqrt(2 * Math.PI);

/** covariance * prior * covariance, the heights' corner of it. */
function sandwich(
  covariance: Float64Array,
  prior: Float64Array,
  count: number,
  levels: number,
): Float64Array {
  const half = new Float64Array(levels * count);
  for (let i = 0; i < levels; i++)
    for (let j = 0; j < count; j++) {
      let sum = 0;
      for (let k = 0; k < count; k++) sum += covariance[i * count + k]! * prior[k * count + j]!;
      half[i * count + j] = sum;
    }
  const out = new Float64Array(levels * levels);
  for (let i = 0; i < levels; i++)
    for (let j = 0; j < levels; j++) {
      let sum = 0;
      for (let k = 0; k < count; k++) sum += half[i * count + k]! * covariance[k * count + j]!;
      out[i * levels + j] = sum;
    }
  return out;
}
