/** Whether a place may be believed: against decoys on the same scan, against its rivals, and by its own patches. */
import type { Hypothesis } from './orientation.ts';
import type { Refined } from './refine.ts';

export interface Rival {
  readonly hypothesis: Hypothesis;
  readonly refined: Refined;
}

export interface Judgement {
  readonly verdict: 'locked' | 'ambiguous' | 'unplaced';
  readonly doubts: readonly string[];
  readonly evidence: Evidence;
}

export interface Evidence {
  /** Standard deviations that the place stands above the best of the decoys (mirrored, turned, upside down). */
  readonly aboveDecoys: number;
  /** Score of the best rival as a share of the place's own, in the search and after refinement. */
  readonly coarseRival: number;
  readonly fineRival: number;
  /** How sure the patches are, taken one by one, that the place is better than the best rival: mean over standard error. */
  readonly patchwise: number;
  /** Share of the patches that by themselves find the place, and how many there are. */
  readonly agreeing: number;
  readonly patches: number;
}

/**
 * What a locked place must show. Set so that none of the wrong places met in trials with known truth comes near (their
 * best rival had 98 % and more of their own score); right ones of low contrast are given up for that.
 */
const LOCK = {
  aboveDecoys: 4,
  coarseRival: 0.8,
  fineRival: 0.92,
  agreeing: 0.45,
  patches: 8,
  score: 0.2,
} as const;
/** What a place must show to be called one of several. */
const AMBIGUOUS = { agreeing: 0.7, score: 0.3 } as const;

/** A patch agrees where its own best match lies this near. */
const AGREE_UM = 0.12;

export function judge(
  best: {
    readonly refined: Refined;
    readonly coarse: Hypothesis | null;
    readonly middle: readonly number[];
  } | null,
  rivals: readonly Rival[],
  decoys: readonly number[],
): Judgement {
  if (!best?.coarse || decoys.length < 3) {
    const evidence = { aboveDecoys: 0, coarseRival: 1, fineRival: 1, patchwise: 0, agreeing: 0, patches: 0 };
    return { verdict: 'unplaced', doubts: [], evidence };
  }
  const { refined, coarse } = best;
  const mean = decoys.reduce((sum, v) => sum + v, 0) / decoys.length;
  const spread = Math.sqrt(decoys.reduce((sum, v) => sum + (v - mean) ** 2, 0) / (decoys.length - 1));
  const residuals = refined.residualsUm;
  const evidence: Evidence = {
    aboveDecoys: (coarse.score - mean) / Math.max(spread, 0.05 * mean),
    coarseRival: Math.max(0, ...rivals.map((r) => r.hypothesis.score)) / coarse.score,
    fineRival: Math.max(0, ...rivals.map((r) => r.refined.score)) / refined.score,
    patchwise: Math.min(99, ...rivals.map((r) => patchwise(refined, r.refined))),
    agreeing: residuals.filter((r) => r !== null && r < AGREE_UM).length / Math.max(1, residuals.length),
    patches: residuals.length,
  };
  return { ...decide(evidence, refined, best.middle, rivals), evidence };
}

function decide(
  e: Evidence,
  refined: Refined,
  middle: readonly number[],
  rivals: readonly Rival[],
): Pick<Judgement, 'verdict' | 'doubts'> {
  const percent = (share: number): string => `${Math.round(100 * share)} %`;
  const rival = Math.max(e.coarseRival, e.fineRival);
  const clear = e.coarseRival <= LOCK.coarseRival && e.fineRival <= LOCK.fineRival;
  const agrees = e.agreeing >= LOCK.agreeing && e.patches >= LOCK.patches;
  if (clear && agrees && e.aboveDecoys >= LOCK.aboveDecoys && refined.score >= LOCK.score)
    return { verdict: 'locked', doubts: [] };
  if (e.agreeing >= AMBIGUOUS.agreeing && e.patches >= LOCK.patches && refined.score >= AMBIGUOUS.score) {
    const top = rivals.reduce<Rival | null>(
      (a, b) => (a && a.refined.score >= b.refined.score ? a : b),
      null,
    );
    const step = top && [top.hypothesis.x - middle[0]!, top.hypothesis.y - middle[1]!];
    const away = step ? `${step.map((v) => v.toFixed(2)).join(', ')} µm away` : 'elsewhere';
    return {
      verdict: 'ambiguous',
      doubts: [
        `Another place fits nearly as well: ${away} (x, y), with ${percent(rival)} of the agreement. ` +
          'Patterns that repeat look the same in many places; landmarks or a hint (near_um) would settle it.',
      ],
    };
  }
  return {
    verdict: 'unplaced',
    doubts: [
      `No place in the drawing fits well enough: ${percent(e.agreeing)} of ${e.patches} patches find the best one ` +
        `by themselves, and the best wrong one has ${percent(rival)} of its agreement.`,
    ],
  };
}

/** Mean difference of the patches' contributions to the two scores over its standard error. */
function patchwise(best: Refined, rival: Refined): number {
  const contributions = (of: Refined): Map<number, number> => {
    const energy = (key: 'image' | 'drawing'): number => of.patches.reduce((sum, p) => sum + p[key], 0);
    const scale = Math.sqrt(energy('image') * energy('drawing'));
    return new Map(of.patches.map((p) => [p.patch, p.product / scale]));
  };
  const mine = [...contributions(best).values()];
  const theirs = [...contributions(rival).values()];
  // The grids of two places need not match patch by patch, so the two sets are compared as wholes.
  const stats = (values: readonly number[]): { sum: number; variance: number } => {
    const sum = values.reduce((all, v) => all + v, 0);
    const mean = sum / Math.max(1, values.length);
    const square = values.reduce((all, v) => all + (v - mean) ** 2, 0);
    return { sum, variance: (square * values.length) / Math.max(1, values.length - 1) };
  };
  const [a, b] = [stats(mine), stats(theirs)];
  return (a.sum - b.sum) / Math.sqrt(a.variance + b.variance || 1e-12);
}
