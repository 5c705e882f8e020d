/** The few places that may be the one, refined on the middle level, with those beside the best that the drawing repeats. */
import { compose3 } from '../../../../shared/affine.ts';
import type { AutomaticInput } from './automatic-input.ts';
import { inBox } from './beyond.ts';
import { NEARLY } from './contest.ts';
import { exactDrawing } from './die-view.ts';
import type { Candidate, Improvers } from './improve.ts';
import { middleOf, sameMap, strongestFirst } from './places.ts';
import type { RefineRound } from './refine.ts';
import { findRepeats, type Repeats, shifted } from './repeats.ts';
import type { Shortlist } from './shortlist.ts';
import { coarser } from './work-levels.ts';

export interface Finals {
  /** Strongest of all, or where the campaign says and about as strong. */
  readonly best: Candidate;
  /** Where the drawing under the best finalist repeats. */
  readonly repeats: Repeats;
  readonly repeatsAt: (place: Candidate) => Promise<Repeats>;
  /** Other places than this one on the middle level, strongest first. */
  readonly rivalsOf: (place: Candidate) => Candidate[];
  /** Others than the best on the coarse level, strongest first. */
  readonly coarse: readonly Candidate[];
  /** Those of them that are strong there and were not refined any further. */
  readonly passedOver: readonly Candidate[];
}

/** Places that are refined on the middle level. */
const FINALISTS = 6;
/** Of places that lie where the campaign says, so many. */
const MOST_SAID = 40;
/** Places below this share of the best one's strength on the coarse level are no rivals on the middle one. */
const HOPELESS = 0.65;
/** A place where the campaign says goes before a place elsewhere that is better by less than this. */
const AS_GOOD = 0.97;
/** Places beside the best one where the drawing looks most like itself are tried too, so many besides its lattice. */
const LIKEST = 2;

/** @returns null where no place fits what the campaign says of order and side */
export async function finals(
  input: AutomaticInput,
  { ranked, pixelUm, apart }: Shortlist,
  improvers: Improvers,
): Promise<Finals | null> {
  const { work, stack } = input;
  const said = input.saidUm ?? null;
  const inSaid = (c: Candidate): boolean => {
    const [x, y] = middleOf(work, c.workToDie);
    return said !== null && inBox(said, x, y);
  };
  const middle = coarser(
    work,
    Math.max(1, Math.floor(Math.max(work.voxelUm[0], pixelUm / 2) / work.voxelUm[0])),
    1,
  );
  const exact = exactDrawing(stack, middle.work.voxelUm[0], work.slowUm);
  const strongest = ranked[0]?.refined.strength ?? 0;
  const likely = ranked.filter((c, n) => n < 2 || c.refined.strength >= HOPELESS * strongest);
  const last = likely.filter((c, n) => n < FINALISTS || (inSaid(c) && n < MOST_SAID)).slice(0, 2 * FINALISTS);
  const finalists = strongestFirst(
    await improvers.improve(
      middle,
      last.map(({ hypothesis, workToDie: start }) => ({ hypothesis, start })),
      exact,
      finer(pixelUm),
    ),
  );
  const fitting = finalists.filter(({ workToDie }) => input.allowed(workToDie));
  const top = fitting[0];
  if (!top) return null;
  const asSaid = fitting.find((c) => inSaid(c) && c.refined.strength >= AS_GOOD * top.refined.strength);
  const first = asSaid ?? top;
  const repeatsAt = ({ workToDie, refined }: Candidate): Promise<Repeats> =>
    findRepeats(work, workToDie, stack, new Set(refined.agreement.layers.map((layer) => layer.name)));
  const repeats = await repeatsAt(first);
  const steps = stepsToTry(repeats);
  const beside = await improvers.improve(
    middle,
    steps.map((step) => ({ hypothesis: first.hypothesis, start: compose3(shifted(step), first.workToDie) })),
    exact,
    finer(pixelUm),
  );
  // What the campaign says rules out rivals elsewhere, but only where something there fits.
  const counts = (c: Candidate): boolean => !asSaid || inSaid(c);
  const alike = strongestFirst(
    beside.filter((there, n) => {
      const [x0, y0] = middleOf(work, first.workToDie);
      const [x, y] = middleOf(work, there.workToDie);
      // One that slid back is the same place.
      return Math.hypot(x - x0, y - y0) > Math.hypot(...steps[n]!) / 2 && counts(there);
    }),
  );
  const best = alike[0] && alike[0].refined.strength > first.refined.strength ? alike[0] : first;
  const apartFrom = (a: Candidate, b: Candidate): boolean => !sameMap(work, b.workToDie, a.workToDie, apart);
  const possible = finalists.filter(counts);
  const coarse = ranked.filter((c) => apartFrom(best, c) && counts(c));
  return {
    ...{ best, repeats, coarse },
    repeatsAt: (place) => (place === first ? Promise.resolve(repeats) : repeatsAt(place)),
    rivalsOf: (place) => {
      const others = possible.filter((c) => c !== place && apartFrom(place, c));
      const neighbours = [...alike, first].filter((c) => c !== place && !others.includes(c));
      return strongestFirst([...others, ...neighbours]);
    },
    passedOver: coarse.filter(
      (c) =>
        c.refined.strength >= NEARLY * strongest &&
        ![...possible, ...alike].some((other) => !apartFrom(other, c)),
    ),
  };
}

const finer = (pixelUm: number): RefineRound[] => [
  { reachUm: 2 * pixelUm, deepUm: 0.3 },
  { reachUm: 2 * pixelUm, deepUm: 0.3 },
];

/** Steps of the lattice both ways, and the places of the drawing that look most alike. */
function stepsToTry({ places, latticeUm }: Repeats): readonly (readonly [number, number])[] {
  const both = latticeUm.flatMap(([x, y]) => [[x, y] as const, [-x, -y] as const]);
  const likest = places.slice(0, LIKEST).map((place) => place.stepUm);
  const near = (a: readonly [number, number], b: readonly [number, number]): boolean =>
    Math.hypot(a[0] - b[0], a[1] - b[1]) < Math.hypot(...a) / 4;
  return [...both, ...likest.filter((step) => !both.some((other) => near(step, other)))];
}
