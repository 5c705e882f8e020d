/** Automatic placement of one scan: level, turn, search everywhere, refine what is promising, judge. */
import { type Affine3, apply3, compose3 } from '../../../../shared/affine.ts';
import type { Evidence as EvidenceArtefact } from '../../../../shared/artefacts/evidence.ts';
import type { Box } from '../../../../shared/polygon.ts';
import { ladderOf } from '../heights/levels.ts';
import { atBorder, inBox, lookBeyond } from './beyond.ts';
import { contest, NEARLY } from './contest.ts';
import { cutDrawing, exactDrawing } from './die-view.ts';
import type { DrawnStack } from './drawing.ts';
import { decoysOf, evidenceArtefact, searchWords } from './evidence.ts';
import { type Candidate, type Improvers, openImprovers } from './improve.ts';
import { type LayoutPictures, layoutPictures } from './layout-pictures.ts';
import { findTilt } from './levelling.ts';
import { dieFromFrame, frameFromWork, type Hypothesis } from './orientation.ts';
import { findPlaneAngle } from './plane-angle.ts';
import { type Refined, type RefineRound, refine } from './refine.ts';
import { findRepeats, type Repeats, shifted } from './repeats.ts';
import { search } from './search.ts';
import { type Judgement, judge, type Tried } from './verdict.ts';
import { coarser } from './work-levels.ts';
import type { WorkVolume } from './work-volume.ts';

export interface AutomaticInput {
  readonly work: WorkVolume;
  readonly stack: DrawnStack;
  /** Where the middle of the scan is looked for. */
  readonly centresUm: Box;
  /** The whole layout. */
  readonly layoutUm: Box;
  /** Where the campaign says it lies; null where it does not say. */
  readonly saidUm?: Box | null;
  readonly signs: readonly (1 | -1)[];
  /** What the campaign says of a map; a map that contradicts it can only be a rival. */
  readonly allowed: (workToDie: Affine3) => boolean;
  readonly threads: number;
  readonly pause: () => Promise<void>;
  readonly signal?: AbortSignal;
}

export interface AutomaticResult extends Judgement {
  readonly best: Refined | null;
  readonly runnerUp: Candidate | null;
  /** For the page that shows why to believe the place; null where there is none. */
  readonly shown: EvidenceArtefact | null;
}

/** Places of the search that are refined on the coarse level, and of those on the middle level. */
const TRIED = 40;
const FINALISTS = 6;
/** Places below this share of the best one's score in the search are not refined, but for so many. */
const FAR_BEHIND = 0.6;
const LEAST_TRIED = 8;
/** Best places inside what was searched whose height, order and scale are taken for the rest of the layout. */
const LEADING = 2;
/** Places below this share of the best one's strength on the coarse level are no rivals on the middle one. */
const HOPELESS = 0.65;
/** Places that the search brings back. */
const MOST_FOUND = 80;
/** A place where the campaign says goes before a place elsewhere that is better by less than this. */
const AS_GOOD = 0.97;
/** Times a bending of the field is looked for. */
const BEND_ROUNDS = 2;
/** Places beside the best one where the drawing looks most like itself are tried too, so many besides its lattice. */
const LIKEST = 2;
const SCALES = [1, 0.967, 1.034];
/** Pixels across the field in the search. */
const SEARCH_PIXELS = 90;
/** Most pixels of the drawing that are searched. */
const MOST_PIXELS = 7e6;
const BIN_UM = 0.16;
const MOST_BINS = 64;

/** Pixel of the search: fine enough for the field, coarse enough for the region. */
export function searchPixelUm(work: WorkVolume, centresUm: Box): number {
  const field = Math.sqrt(work.nx * work.voxelUm[0] * work.ny * work.voxelUm[1]);
  const region = (centresUm[2] - centresUm[0] + field) * (centresUm[3] - centresUm[1] + field);
  return Math.max(...work.voxelUm.slice(0, 2), field / SEARCH_PIXELS, Math.sqrt(region / MOST_PIXELS));
}

export async function placeAutomatically(input: AutomaticInput): Promise<AutomaticResult> {
  const improvers = openImprovers(input.threads, input.pause, input.signal);
  try {
    return await place(input, improvers);
  } finally {
    await improvers.close();
  }
}

async function place(input: AutomaticInput, improvers: Improvers): Promise<AutomaticResult> {
  const { work, stack, pause, centresUm } = input;
  const pixelUm = searchPixelUm(work, centresUm);
  const binUm = Math.max(BIN_UM, work.voxelUm[2], (work.nz * work.voxelUm[2]) / MOST_BINS);
  const tilt = findTilt(work);
  await pause();
  const turn = findPlaneAngle(work).radians;
  await pause();
  const frame = frameFromWork([work.nx, work.ny, work.nz], work.voxelUm, tilt, turn);
  const layout = layoutPictures(stack, regionGrid(work, centresUm, pixelUm), work.slowUm);
  await pause();
  if (layout.layers.length < 2) return { ...judge(null, [], []), best: null, runnerUp: null, shown: null };
  const apart = { planeUm: 4 * pixelUm, heightUm: 0.5 };
  const { found, best: orientations } = await search({
    ...{ work, frame, layout, centresUm, scales: SCALES, signs: input.signs, binUm, apart },
    ...{ keep: MOST_FOUND, threads: input.threads, ...(input.signal ? { signal: input.signal } : {}) },
  });
  const coarse = coarser(
    work,
    Math.max(1, Math.floor(pixelUm / work.voxelUm[0])),
    Math.max(1, Math.floor((0.6 * binUm) / work.voxelUm[2])),
  );
  const said = input.saidUm ?? null;
  const near = (h: Hypothesis): boolean => said !== null && inBox(said, h.x, h.y);
  // Where the campaign says where, places there are looked at even where better ones lie elsewhere.
  const promising = (h: Hypothesis, n: number): boolean =>
    n < LEAST_TRIED || h.score >= FAR_BEHIND * found[0]!.score;
  const chosen = found.filter((h, n) => (n < TRIED && promising(h, n)) || (near(h) && n < MOST_FOUND));
  const startOf = (hypothesis: Hypothesis) => ({
    hypothesis,
    start: compose3(dieFromFrame(hypothesis), frame),
  });
  const rough = (places: readonly Hypothesis[], pictures: LayoutPictures): Promise<Candidate[]> =>
    improvers.improve(coarse, places.map(startOf), cutDrawing(pictures), roughly(pixelUm));
  const tried = await rough(chosen, layout);
  const leading = distinct(work, tried, apart).slice(0, LEADING);
  const beyond = await lookBeyond(
    {
      ...{ work, frame, stack, centresUm, layoutUm: input.layoutUm, pixelUm, binUm, apart },
      inside: leading.map((c) => ({ ...c.hypothesis, z: middleOf(work, c.workToDie)[2] })),
      ...{ signs: input.signs, threads: input.threads, ...(input.signal ? { signal: input.signal } : {}) },
    },
    (box, pixel) => regionGrid(work, box, pixel),
  );
  if (beyond) tried.push(...(await rough(beyond.found, beyond.layout)));
  const ranked = distinct(work, tried, apart);
  const middleUm = Math.max(work.voxelUm[0], pixelUm / 2);
  const middle = coarser(work, Math.max(1, Math.floor(middleUm / work.voxelUm[0])), 1);
  const exact = exactDrawing(stack, middle.work.voxelUm[0], work.slowUm);
  const inSaid = (c: Candidate): boolean => {
    const [x, y] = middleOf(work, c.workToDie);
    return said !== null && inBox(said, x, y);
  };
  const strongest = ranked[0]?.refined.strength ?? 0;
  const likely = ranked.filter((c, n) => n < 2 || c.refined.strength >= HOPELESS * strongest);
  const last = likely.filter((c, n) => n < FINALISTS || (inSaid(c) && n < TRIED)).slice(0, 2 * FINALISTS);
  const startFrom = ({ hypothesis, workToDie: start }: Candidate) => ({ hypothesis, start });
  const finalists = await improvers.improve(middle, last.map(startFrom), exact, finer(pixelUm));
  finalists.sort((p, q) => q.refined.strength - p.refined.strength);
  const fitting = finalists.filter(({ workToDie }) => input.allowed(workToDie));
  const top = fitting[0];
  if (!top) return { ...judge(null, [], []), best: null, runnerUp: null, shown: null };
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
  const alike = beside.filter((there, n) => {
    const [x0, y0] = middleOf(work, first.workToDie);
    const [x, y] = middleOf(work, there.workToDie);
    // One that slid back is the same place.
    return Math.hypot(x - x0, y - y0) > Math.hypot(...steps[n]!) / 2 && (!asSaid || inSaid(there));
  });
  alike.sort((p, q) => q.refined.strength - p.refined.strength);
  const strongestOne = alike[0] && alike[0].refined.strength > first.refined.strength ? alike[0] : first;
  const apartFrom = (best: Candidate, c: Candidate): boolean =>
    !sameMap(work, c.workToDie, best.workToDie, apart);
  // What the campaign says rules out rivals elsewhere, but only where something there fits.
  const possible = finalists.filter((c) => !asSaid || inSaid(c));
  const rivalsOf = (best: Candidate): Candidate[] => {
    const others = possible.filter((c) => c !== best && apartFrom(best, c));
    const neighbours = [...alike, first].filter((c) => c !== best && !others.includes(c));
    return [...others, ...neighbours].sort((p, q) => q.refined.strength - p.refined.strength);
  };
  const coarseRivals = ranked.filter((c) => apartFrom(strongestOne, c) && (!asSaid || inSaid(c)));
  const decided = await contest({
    ...{ work, stack, best: strongestOne, rivals: rivalsOf(strongestOne), pause },
    more: coarseRivals.filter(
      (c) =>
        c.refined.strength >= NEARLY * strongest &&
        ![...possible, ...alike].some((other) => !apartFrom(other, c)),
    ),
    repeatsAt: (place) => (place === first ? Promise.resolve(repeats) : repeatsAt(place)),
  });
  const { best } = decided;
  const rivals = rivalsOf(best);
  const drawing = exactDrawing(stack, work.voxelUm[0], work.slowUm);
  const fine = await refine(
    ...([work, best.workToDie, best.refined.sign, drawing, finest(work.voxelUm[0]), pause] as const),
    {
      drawing,
      bendRounds: BEND_ROUNDS,
      levelsUm: [...new Set([0, ...ladderOf(stack.layers).nominalUm])].sort((a, b) => a - b),
    },
  );
  const own = best.hypothesis.orientation + (best.hypothesis.rising === 1 ? 0 : 8);
  const judgement = judge(
    {
      tried: triedOf(work, best),
      finest: fine.agreement,
      found: Math.max(best.hypothesis.score, orientations[own]!),
    },
    rivals.map((rival) => triedOf(work, rival, decided.apart.get(rival))),
    orientations.filter((_, n) => n !== own),
    repeats.latticeUm,
  );
  const runnerUp = rivals[0] ?? coarseRivals[0] ?? null;
  const shown = evidenceArtefact({
    ...{ work: coarse.work, workToDie: compose3(fine.workToDie, coarse.toFinest), sign: fine.sign },
    ...{ drawing: cutDrawing(layout), agreement: fine.agreement },
    ...{ words: searchWords(judgement.evidence), latticeUm: repeats.latticeUm },
    decoys: decoysOf(orientations, own, Math.max(best.hypothesis.score, orientations[own]!), fine.score),
    runnerUp: runnerUp && {
      workToDie: compose3(runnerUp.workToDie, coarse.toFinest),
      sign: runnerUp.refined.sign,
      score: runnerUp.refined.score,
    },
  });
  const here = middleOf(work, fine.workToDie);
  const told = againstBorder(againstSaid(judgement, said, here), input, here, apart.planeUm);
  return { ...told, best: fine, runnerUp, shown };
}

/** A place that the campaign contradicts is not locked, however well it fits: one of the two is wrong. */
function againstSaid(judgement: Judgement, said: Box | null, middle: readonly number[]): Judgement {
  if (!said || judgement.verdict === 'unplaced' || inBox(said, middle[0]!, middle[1]!)) return judgement;
  const off = [middle[0]! - (said[0] + said[2]) / 2, middle[1]! - (said[1] + said[3]) / 2];
  return {
    ...judgement,
    verdict: 'ambiguous',
    doubts: [
      `The best place lies ${off.map((v) => v.toFixed(1)).join(', ')} µm (x, y) from near_um, farther than within_um allows. ` +
        'Correct or remove near_um, or give landmarks.',
      ...judgement.doubts,
    ],
  };
}

/** A place beside or at the border of what was searched is not locked: a better one may lie beyond. */
function againstBorder(
  judgement: Judgement,
  { centresUm, layoutUm }: AutomaticInput,
  [x, y]: readonly [number, number, number],
  nearUm: number,
): Judgement {
  if (judgement.verdict !== 'locked' || !atBorder(centresUm, layoutUm, x, y, nearUm)) return judgement;
  return {
    ...judgement,
    verdict: 'ambiguous',
    doubts: [
      `The best place (${x.toFixed(1)}, ${y.toFixed(1)} µm) lies outside or at the border of the region that was searched ` +
        `(${centresUm.map((v) => v.toFixed(1)).join(', ')} µm). Correct or widen near_um and within_um, or give landmarks.`,
      ...judgement.doubts,
    ],
  };
}

const roughly = (pixelUm: number): RefineRound[] => [
  { reachUm: 4 * pixelUm, deepUm: 0.4 },
  { reachUm: 3 * pixelUm, deepUm: 0.35 },
  { reachUm: 3 * pixelUm, deepUm: 0.3 },
];
const finer = (pixelUm: number): RefineRound[] => [
  { reachUm: 2 * pixelUm, deepUm: 0.3 },
  { reachUm: 2 * pixelUm, deepUm: 0.3 },
];
const finest = (voxelUm: number): RefineRound[] =>
  [8, 5].map((voxels) => ({ reachUm: voxels * voxelUm, deepUm: 0.3 }));

/** Steps of the lattice both ways, and the places of the drawing that look most alike. */
function stepsToTry({ places, latticeUm }: Repeats): readonly (readonly [number, number])[] {
  const both = latticeUm.flatMap(([x, y]) => [[x, y] as const, [-x, -y] as const]);
  const likest = places.slice(0, LIKEST).map((place) => place.stepUm);
  const near = (a: readonly [number, number], b: readonly [number, number]): boolean =>
    Math.hypot(a[0] - b[0], a[1] - b[1]) < Math.hypot(...a) / 4;
  return [...both, ...likest.filter((step) => !both.some((other) => near(step, other)))];
}

const triedOf = (work: WorkVolume, { refined, workToDie }: Candidate, toldBy?: number): Tried => ({
  agreement: refined.agreement,
  middle: middleOf(work, workToDie),
  ...(toldBy === undefined ? {} : { toldBy }),
});

const middleOf = (work: WorkVolume, map: Affine3): readonly [number, number, number] =>
  apply3(map, [(work.nx - 1) / 2, (work.ny - 1) / 2, (work.nz - 1) / 2]);

/** Whether two maps put the field in the same place: its middle and its corners. */
function sameMap(
  work: WorkVolume,
  a: Affine3,
  b: Affine3,
  apart: { readonly planeUm: number; readonly heightUm: number },
): boolean {
  const k = (work.nz - 1) / 2;
  const points = [
    [0.5, 0.5],
    [0.2, 0.2],
    [0.8, 0.2],
    [0.2, 0.8],
    [0.8, 0.8],
  ].map(([u, v]) => {
    const at = [u! * (work.nx - 1), v! * (work.ny - 1), k] as const;
    const [p, q] = [apply3(a, at), apply3(b, at)];
    return { plane: Math.hypot(p[0] - q[0], p[1] - q[1]), height: Math.abs(p[2] - q[2]) };
  });
  return points.every((d) => d.plane < 2 * apart.planeUm && d.height < 2 * apart.heightUm);
}

/** Best first; of those that came to the same place the best. */
function distinct(
  work: WorkVolume,
  candidates: readonly Candidate[],
  apart: { readonly planeUm: number; readonly heightUm: number },
): Candidate[] {
  const kept: Candidate[] = [];
  for (const candidate of [...candidates].sort((p, q) => q.refined.strength - p.refined.strength))
    if (!kept.some((other) => sameMap(work, other.workToDie, candidate.workToDie, apart)))
      kept.push(candidate);
  return kept;
}

/** Room for the whole field around every place its middle may have. */
function regionGrid(work: WorkVolume, centresUm: Box, pixelUm: number) {
  const reach = Math.hypot(work.nx * work.voxelUm[0], work.ny * work.voxelUm[1]) / 2 + 4 * pixelUm;
  const [x0, y0, x1, y1] = centresUm;
  return {
    origin_um: [x0 - reach, y1 + reach] as const,
    pixel_um: pixelUm,
    width_px: Math.ceil((x1 - x0 + 2 * reach) / pixelUm) + 1,
    height_px: Math.ceil((y1 - y0 + 2 * reach) / pixelUm) + 1,
  };
}
