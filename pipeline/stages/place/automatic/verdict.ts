/**
 * Whether a place may be believed: by itself (do its patches find it, at every depth?), against decoys on the same
 * scan (turned, mirrored, upside down) and against its rivals, patch by patch.
 */
import { type Agreement, pairedRank } from './agreement.ts';

export interface Judgement {
  readonly verdict: 'locked' | 'ambiguous' | 'unplaced';
  readonly doubts: readonly string[];
  readonly evidence: Evidence;
}

export interface Evidence {
  /** Root mean square correlation of the layers. */
  readonly score: number;
  /** Standard deviations that the place stands above the best of the decoys. */
  readonly aboveDecoys: number;
  /** Strength of the best rival as a share of the place's own. */
  readonly rival: number;
  /** How surely the place is better than the rival that comes nearest to it, patch by patch: a rank statistic, standard deviations. */
  readonly overRival: number;
  /** Share of the patches that by themselves find the place, and how many were asked. */
  readonly agreeing: number;
  readonly patches: number;
  /** The same of the group of neighbouring layers that agrees least. */
  readonly leastGroup: number;
  /** Shapes, drawn at one of both places only, that tell the best rival apart; 0 where that is not how it is beaten. */
  readonly toldBy: number;
}

/** A place that was tried. */
export interface Tried {
  readonly agreement: Agreement;
  /** Die position of the middle of the scan. */
  readonly middle: readonly number[];
  /** Of a rival: shapes that tell it apart from the best place; left out where none do. */
  readonly toldBy?: number;
}

export interface Best {
  /** On the level where rivals were refined too. */
  readonly tried: Tried;
  /** On the finest level. */
  readonly finest: Agreement;
  /** Score in the search. */
  readonly found: number;
}

/** What a locked place must show; tests/bench/placement.bench.ts prints how far right and wrong places lie from it. */
const LOCK = {
  score: 0.3,
  aboveDecoys: 2,
  /** A rival this strong must be beaten nearly everywhere in the field; a weaker one at all. */
  rival: 0.93,
  overRival: 4,
  farRival: 0.85,
  agreeing: 0.6,
  leastGroup: 0.4,
  patches: 9,
  /** Layers with something drawn: fewer are as good as a pattern that repeats. */
  layers: 4,
} as const;
/** What a place must show to be called one of several. */
const AMBIGUOUS = { agreeing: 0.6, score: 0.3 } as const;
/** Patches that a group needs to have a say. */
const LEAST_ASKED = 5;

/**
 * @param rivals places elsewhere, refined on the same level as `best.tried`
 * @param decoys best score in the search of every other orientation and slice order
 * @param latticeUm steps by which the drawing repeats under the field
 */
export function judge(
  best: Best | null,
  rivals: readonly Tried[],
  decoys: readonly number[],
  latticeUm: readonly (readonly [number, number])[] = [],
): Judgement {
  if (!best || decoys.length < 3) {
    const evidence: Evidence = {
      ...{
        score: 0,
        aboveDecoys: 0,
        rival: 1,
        overRival: 0,
        agreeing: 0,
        patches: 0,
        leastGroup: 0,
        toldBy: 0,
      },
    };
    return { verdict: 'unplaced', doubts: ['No place in the drawing resembles the scan.'], evidence };
  }
  const mean = decoys.reduce((sum, v) => sum + v, 0) / decoys.length;
  const spread = Math.sqrt(decoys.reduce((sum, v) => sum + (v - mean) ** 2, 0) / (decoys.length - 1));
  const { finest, tried } = best;
  const share = (g: { patches: number; agreeing: number }): number => g.agreeing / Math.max(1, g.patches);
  const [whole, ...groups] = finest.groups;
  const asked = groups.filter((g) => g.patches >= LEAST_ASKED);
  const nearest = [...rivals].sort((p, q) => q.agreement.strength - p.agreement.strength)[0];
  const open = rivals.filter((r) => r.toldBy === undefined);
  const against = (others: readonly Tried[]): Pick<Evidence, 'rival' | 'overRival'> => ({
    rival: Math.max(0, ...others.map((r) => r.agreement.strength)) / Math.max(1e-9, tried.agreement.strength),
    overRival: Math.min(99, ...others.map((r) => pairedRank(tried.agreement, r.agreement))),
  });
  const evidence: Evidence = {
    ...against(rivals),
    toldBy: nearest?.toldBy ?? 0,
    score: finest.layers.length > 0 ? finest.strength / Math.sqrt(finest.layers.length) : 0,
    aboveDecoys: (best.found - mean) / Math.max(spread, 0.05 * mean),
    agreeing: whole ? share(whole) : 0,
    patches: whole?.patches ?? 0,
    leastGroup: asked.length > 0 ? Math.min(...asked.map(share)) : 0,
  };
  const doubtful = [...open].sort((p, q) => q.agreement.strength - p.agreement.strength)[0] ?? nearest;
  return { ...decide({ ...evidence, ...against(open) }, best, doubtful, latticeUm), evidence };
}

const percent = (share: number): string => `${Math.round(100 * share)} %`;

function decide(
  e: Evidence,
  best: Best,
  rival: Tried | undefined,
  latticeUm: readonly (readonly [number, number])[],
): Pick<Judgement, 'verdict' | 'doubts'> {
  const stands = e.score >= LOCK.score && e.agreeing >= LOCK.agreeing && e.patches >= LOCK.patches;
  const beaten = e.rival <= LOCK.farRival || (e.rival <= LOCK.rival && e.overRival >= LOCK.overRival);
  const clear = beaten && e.aboveDecoys >= LOCK.aboveDecoys && best.finest.layers.length >= LOCK.layers;
  if (stands && clear && e.leastGroup >= LOCK.leastGroup) return { verdict: 'locked', doubts: [] };
  if (e.score >= AMBIGUOUS.score && e.agreeing >= AMBIGUOUS.agreeing && e.patches >= LOCK.patches)
    return { verdict: 'ambiguous', doubts: [doubtOf(e, clear, best, rival, latticeUm)] };
  return {
    verdict: 'unplaced',
    doubts: [
      `No place in the drawing fits well enough: ${percent(e.agreeing)} of ${e.patches} patches find the best one ` +
        `by themselves, and the best other place has ${percent(e.rival)} of its agreement.`,
    ],
  };
}

function doubtOf(
  e: Evidence,
  clear: boolean,
  best: Best,
  rival: Tried | undefined,
  latticeUm: readonly (readonly [number, number])[],
): string {
  if (clear)
    return (
      `Some layers do not confirm the place: of those that agree least, ${percent(e.leastGroup)} of the patches ` +
      'find it by themselves. The drawing may be of another version, or the true place lies outside what was searched.'
    );
  const step = rival && [rival.middle[0]! - best.tried.middle[0]!, rival.middle[1]! - best.tried.middle[1]!];
  const away = step ? `${step.map((v) => v.toFixed(2)).join(', ')} µm away` : 'elsewhere';
  return (
    `Another place fits nearly as well: ${away} (x, y), with ${percent(e.rival)} of the agreement. ` +
    (latticeUm.length > 0
      ? `The drawing repeats here every ${latticeUm.map(([x, y]) => `(${x.toFixed(3)}, ${y.toFixed(3)})`).join(' and every ')} µm. `
      : '') +
    'Patterns that repeat look the same in many places; landmarks or a hint (near_um) would settle it.'
  );
}
