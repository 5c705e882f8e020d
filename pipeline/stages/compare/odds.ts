/** How many differences of a given strength noise and misfit alone make, told from the decoys of the same scan. */
import type { Difference } from './box-fit.ts';

/** Decoys of this rank and above shape the tail that is extrapolated. */
const TAIL = 24;
/** No difference below this is ever a finding, whatever the decoys say. */
export const LEAST_Z = 5;

export interface FalseAlarms {
  /** Expected number of false differences at or above a strength, in the whole judged area of the layer. */
  readonly expected: (z: number) => number;
  /** Strength above which at most `allowed` false differences are expected. */
  readonly threshold: (allowed: number) => number;
}

/** The tail is learnt from a few decoys only; differences this near it are as often false as true. */
const MARGIN = 1.2;

/**
 * Number above z taken as falling with exp(-z^2 / 2 s^2), s from the strongest decoys (their mean excess of z^2 / 2,
 * the maximum-likelihood estimate for an exponential tail), and never falling faster than for normal noise.
 * @param searchedFrom decoys were looked for from this strength on
 */
export function falseAlarms(decoys: readonly Difference[], searchedFrom: number): FalseAlarms {
  const half = decoys.map((d) => (d.z * d.z) / 2).sort((a, b) => b - a);
  const count = Math.min(TAIL, half.length);
  const base = count > 1 && count < half.length ? half[count]! : (searchedFrom * searchedFrom) / 2;
  let excess = 0;
  for (let n = 0; n < count; n++) excess += half[n]! - base;
  // A count of 0 is taken as one half: nothing seen is not nothing there.
  const number = Math.max(count, 0.5);
  const scale = Math.max(1, count > 2 ? excess / count : 1);
  return {
    expected: (z) => number * Math.exp(-Math.max((z * z) / 2 - base, 0) / scale),
    threshold: (allowed) =>
      MARGIN * Math.max(LEAST_Z, Math.sqrt(2 * (base + scale * Math.max(0, Math.log(number / allowed))))),
  };
}
