/** How far the levels may be off: what leaving out parts of the field changes, and what the prior alone had to supply. */
import type { FieldSums } from './evidence.ts';
import { fitLevels, unknowns } from './fit-levels.ts';
import type { Located } from './locate.ts';
import { solveProfiles } from './profiles.ts';

/**
 * What no part of the field can show because it is the same in all: the profile is not quite a blurred box, plates are
 * interpolated. Share of a plate's step.
 */
const COMMON_FAULT = 0.04;

export interface Spread {
  /** Standard deviation of every level, micrometres. */
  readonly sdUm: Float64Array;
  /**
   * Largest ratio of a layer's strength to its own scatter over the field. Wires of another chip, or of another place,
   * agree with the image here and disagree there, however well they follow it along the depth.
   */
  readonly held: number;
}

/**
 * Standard deviation of every level, micrometres. The delete-one-block jackknife gives the scatter of the data; of the
 * prior, the part of its covariance that reaches the answer is added, as the jackknife cannot see it.
 * @source B. Efron, The Jackknife, the Bootstrap and Other Resampling Plans (SIAM 1982), chapter 3, for the scatter.
 */
export function levelSpread(field: FieldSums, located: Located, stepUm: number): Spread {
  const { ladder, fit, profiles, prior } = located;
  const levels = ladder.nominalUm.length;
  const groups = field.blocks.length;
  const answers: Float64Array[] = [];
  const strengths: Float64Array[] = [];
  if (groups >= 4)
    for (const left of field.blocks) {
      const solved = solveProfiles(
        field,
        field.blocks.filter((block) => block !== left),
        false,
      );
      const reduced = profiles.map((profile) => ({ ...profile, strength: solved.strength[profile.layer]! }));
      const again = fitLevels(ladder, field.zUm, reduced.map(withoutGaps), prior, fit, 4);
      answers.push(again.heightsUm);
      strengths.push(again.strength);
    }
  const count = unknowns(ladder, profiles.length);
  const sdUm = Float64Array.from({ length: levels }, (_, n) => {
    const scatter = jackknife(answers, n);
    const stated = fit.covariance[n * count + n]!;
    const data = answers.length > 0 ? scatter + Math.max(0, fit.priorPart[n * levels + n]!) : stated;
    return Math.sqrt(data + (COMMON_FAULT * stepUm) ** 2);
  });
  const held = profiles.map((_, n) => Math.abs(fit.strength[n]!) / Math.sqrt(jackknife(strengths, n)));
  return { sdUm, held: strengths.length > 0 ? Math.max(...held) : 0 };
}

/** Variance of an answer by the answers with one block left out. */
function jackknife(answers: readonly Float64Array[], n: number): number {
  const groups = Math.max(1, answers.length);
  const mean = answers.reduce((sum, a) => sum + a[n]!, 0) / groups;
  return ((groups - 1) / groups) * answers.reduce((sum, a) => sum + (a[n]! - mean) ** 2, 0);
}

/** Heights that the smaller field does not reach count for nothing. */
function withoutGaps<T extends { readonly strength: Float64Array; readonly variance: Float64Array }>(
  profile: T,
): T {
  const { strength, variance } = profile;
  return {
    ...profile,
    variance: variance.map((v, p) => (Number.isNaN(strength[p]) ? Infinity : v)),
  };
}
