/** Automatic placement of one scan: level, turn, search everywhere, refine what is promising, judge. */
import { type Affine3, apply3, compose3 } from '../../../../shared/affine.ts';
import type { Box } from '../../../../shared/polygon.ts';
import { cutDrawing, exactDrawing } from './die-view.ts';
import type { DrawnStack } from './drawing.ts';
import { layoutPictures } from './layout-pictures.ts';
import { findTilt } from './levelling.ts';
import { dieFromFrame, frameFromWork, type Hypothesis } from './orientation.ts';
import { findPlaneAngle } from './plane-angle.ts';
import { type Refined, type RefineRound, refine } from './refine.ts';
import { search } from './search.ts';
import { type Judgement, judge, type Tried } from './verdict.ts';
import { coarser, type WorkLevel } from './work-levels.ts';
import type { WorkVolume } from './work-volume.ts';

export interface AutomaticInput {
  readonly work: WorkVolume;
  readonly stack: DrawnStack;
  /** Where the middle of the scan may lie; the whole drawing where nobody said. */
  readonly centresUm: Box;
  readonly signs: readonly (1 | -1)[];
  /** What the campaign says of a map; a map that contradicts it can only be a rival. */
  readonly allowed: (workToDie: Affine3) => boolean;
  readonly threads: number;
  readonly pause: () => Promise<void>;
  readonly signal?: AbortSignal;
}

/** A place that was refined from a hypothesis of the search. */
export interface Candidate {
  readonly hypothesis: Hypothesis;
  /** Map from the finest level. */
  readonly workToDie: Affine3;
  readonly refined: Refined;
}

export interface AutomaticResult extends Judgement {
  readonly best: Refined | null;
  readonly runnerUp: Candidate | null;
  /** Best score of each orientation, slices rising first, then falling. */
  readonly orientations: readonly number[];
}

/** Places of the search that are refined on the coarse level, and of those on the middle level. */
const TRIED = 40;
const FINALISTS = 6;
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
  if (layout.layers.length < 2)
    return { ...judge(null, [], []), best: null, runnerUp: null, orientations: [] };
  const apart = { planeUm: 4 * pixelUm, heightUm: 0.5 };
  const { found, best: orientations } = await search({
    ...{ work, frame, layout, centresUm, scales: SCALES, signs: input.signs, binUm, apart },
    ...{ keep: 2 * TRIED, threads: input.threads, ...(input.signal ? { signal: input.signal } : {}) },
  });
  const coarse = coarser(
    work,
    Math.max(1, Math.floor(pixelUm / work.voxelUm[0])),
    Math.max(1, Math.floor((0.6 * binUm) / work.voxelUm[2])),
  );
  const tried: Candidate[] = [];
  for (const hypothesis of found.slice(0, TRIED)) {
    const start = compose3(dieFromFrame(hypothesis), frame);
    tried.push(await improve(coarse, { hypothesis, start }, cutDrawing(layout), roughly(pixelUm), pause));
  }
  const ranked = distinct(work, tried, apart);
  const finalists: Candidate[] = [];
  const middleUm = Math.max(work.voxelUm[0], pixelUm / 2);
  const middle = coarser(work, Math.max(1, Math.floor(middleUm / work.voxelUm[0])), 1);
  const exact = exactDrawing(stack, middle.work.voxelUm[0], work.slowUm);
  for (const { hypothesis, workToDie: start } of ranked.slice(0, FINALISTS))
    finalists.push(await improve(middle, { hypothesis, start }, exact, finer(pixelUm), pause));
  finalists.sort((p, q) => q.refined.strength - p.refined.strength);
  const best = finalists.find(({ workToDie }) => input.allowed(workToDie));
  if (!best) return { ...judge(null, [], []), best: null, runnerUp: null, orientations };
  const rivals = finalists.filter((c) => c !== best && !sameMap(work, c.workToDie, best.workToDie, apart));
  const coarseRivals = ranked.filter((c) => !sameMap(work, c.workToDie, best.workToDie, apart));
  const finest = await refine(
    work,
    best.workToDie,
    best.refined.sign,
    exactDrawing(stack, work.voxelUm[0], work.slowUm),
    finest4(work.voxelUm[0]),
    pause,
  );
  const own = best.hypothesis.orientation + (best.hypothesis.rising === 1 ? 0 : 8);
  const judgement = judge(
    {
      tried: triedOf(work, best),
      finest: finest.agreement,
      found: Math.max(best.hypothesis.score, orientations[own]!),
    },
    rivals.map((rival) => triedOf(work, rival)),
    orientations.filter((_, n) => n !== own),
  );
  return { ...judgement, best: finest, runnerUp: rivals[0] ?? coarseRivals[0] ?? null, orientations };
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
const finest4 = (voxelUm: number): RefineRound[] =>
  [8, 5, 5, 5].map((voxels) => ({ reachUm: voxels * voxelUm, deepUm: 0.3 }));

async function improve(
  level: WorkLevel,
  from: { readonly hypothesis: Hypothesis; readonly start: Affine3 },
  drawing: Parameters<typeof refine>[3],
  rounds: readonly RefineRound[],
  pause: () => Promise<void>,
): Promise<Candidate> {
  const start = compose3(from.start, level.toFinest);
  const refined = await refine(level.work, start, from.hypothesis.sign, drawing, rounds, pause);
  return {
    hypothesis: from.hypothesis,
    workToDie: compose3(refined.workToDie, level.fromFinest),
    refined,
  };
}

const triedOf = (work: WorkVolume, { refined, workToDie }: Candidate): Tried => ({
  agreement: refined.agreement,
  middle: middleOf(work, workToDie),
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
