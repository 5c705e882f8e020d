/** Edges on a profile of which nothing is known beforehand: first guesses, to be fitted afterwards. */
import type { Profile } from './band.ts';

export interface Crossing {
  /** Position along the path, pixels: half height between the levels on both sides. */
  readonly atPx: number;
  /** 1 where grey rises along the path, -1 where it falls. */
  readonly sense: 1 | -1;
}

/** Share of the whole range of grey that a change must have to count as an edge. */
export const LEAST_SHARE = 0.3;

/**
 * Edges in order along the path. The profile is smoothed by a Gaussian as wide as the blur, which costs little
 * sharpness and most of the noise; then every turn by more than a share of the range is a level.
 * @param softPx standard deviation of the smoothing, pixels
 */
export function findEdges(profile: Profile, softPx = 0.8, share = LEAST_SHARE): Crossing[] {
  const values = smoothed(profile.values, softPx / profile.stepPx);
  const [low, high] = rangeOf(values);
  const least = share * (high - low);
  if (!(least > 0)) return [];
  const levels = turns(values, least);
  return levels.slice(1).flatMap((to, n) => crossingBetween(values, levels[n]!, to, profile.stepPx) ?? []);
}

/** Samples at which the profile turns, each at least `least` away from the one before; first and last level included. */
function turns(values: Float64Array, least: number): number[] {
  const found: number[] = [];
  let lowest = 0;
  let highest = 0;
  let sense = 0;
  for (let n = 1; n < values.length; n++) {
    if (values[n]! < values[lowest]!) lowest = n;
    if (values[n]! > values[highest]!) highest = n;
    if (sense <= 0 && values[n]! - values[lowest]! >= least) {
      found.push(lowest);
      sense = 1;
      highest = n;
    } else if (sense >= 0 && values[highest]! - values[n]! >= least) {
      found.push(highest);
      sense = -1;
      lowest = n;
    }
  }
  if (sense > 0) found.push(highest);
  if (sense < 0) found.push(lowest);
  return found;
}

/** The half-height crossing between two turns; of several the one where the profile is steepest. */
function crossingBetween(values: Float64Array, from: number, to: number, stepPx: number): Crossing | null {
  const half = (values[from]! + values[to]!) / 2;
  const sense = values[to]! > values[from]! ? 1 : -1;
  let best: Crossing | null = null;
  let steepest = 0;
  for (let n = from; n < to; n++) {
    const [a, b] = [values[n]! - half, values[n + 1]! - half];
    if (a * b > 0 || a === b) continue;
    const slope = (values[Math.min(values.length - 1, n + 2)]! - values[Math.max(0, n - 1)]!) * sense;
    if (slope <= steepest) continue;
    steepest = slope;
    best = { atPx: (n + a / (a - b)) * stepPx, sense };
  }
  return best;
}

function rangeOf(values: Float64Array): [number, number] {
  let [low, high] = [Infinity, -Infinity];
  for (const v of values) {
    if (v < low) low = v;
    if (v > high) high = v;
  }
  return [low, high];
}

/** Gaussian smoothing, its weights made whole again at the ends. */
function smoothed(values: Float64Array, sd: number): Float64Array {
  const reach = Math.ceil(3 * sd);
  const weights = Float64Array.from({ length: reach + 1 }, (_, d) => Math.exp((-d * d) / (2 * sd * sd)));
  return values.map((_, n) => {
    let sum = 0;
    let whole = 0;
    for (let d = -reach; d <= reach; d++) {
      const at = n + d;
      if (at < 0 || at >= values.length) continue;
      const weight = weights[Math.abs(d)]!;
      sum += weight * values[at]!;
      whole += weight;
    }
    return sum / whole;
  });
}
