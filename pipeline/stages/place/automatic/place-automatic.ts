/** Automatic placement of one scan: level, turn, search, refine, search again with what was learnt, judge. */
import { type Affine3, apply3, compose3, invert3 } from '../../../../shared/affine.ts';
import type { Box } from '../../../../shared/polygon.ts';
import { coarseVolume } from './coarse-volume.ts';
import type { DrawnStack } from './drawing.ts';
import { findTilt } from './levelling.ts';
import { dieFromFrame, frameFromWork, type Hypothesis, ORIENTATIONS } from './orientation.ts';
import { findPlaneAngle } from './plane-angle.ts';
import { type Refined, refine } from './refine.ts';
import { search } from './search.ts';
import { type Judgement, judge, type Rival } from './verdict.ts';
import type { WorkVolume } from './work-volume.ts';

export interface AutomaticInput {
  readonly work: WorkVolume;
  readonly stack: DrawnStack;
  /** Where the middle of the scan may lie; the whole drawing where nobody said. */
  readonly centresUm: Box;
  readonly signs: readonly (1 | -1)[];
  /** What the campaign says of a map; a map that contradicts it can only be a rival. */
  readonly allowed: (workToDie: Affine3) => boolean;
  readonly pause: () => Promise<void>;
}

export interface AutomaticResult extends Judgement {
  readonly best: Refined | null;
  readonly runnerUp: Rival | null;
}

/** Rough places that are refined in the first round. */
const TRIED = 6;
/** Rivals that are refined and compared patch by patch at the end. */
const RIVALS = 4;
const SCALES = [1, 0.967, 1.034];
/** Places nearer than this, in plane and in height, are the same place. */
export const APART_UM = { plane: 0.6, height: 0.5 } as const;
/** Pixels across the field in the search. */
const SEARCH_PIXELS = 90;
const BIN_UM = 0.16;
const MOST_BINS = 64;
const LARGEST_SIDE = 512;

export async function placeAutomatically(input: AutomaticInput): Promise<AutomaticResult> {
  const { work, stack, pause } = input;
  const size = [work.nx, work.ny, work.nz] as const;
  const area = work.nx * work.voxelUm[0] * work.ny * work.voxelUm[1];
  const pixel = Math.max(work.voxelUm[0], Math.sqrt(area) / SEARCH_PIXELS);
  const bin = Math.max(BIN_UM, work.voxelUm[2], (work.nz * work.voxelUm[2]) / MOST_BINS);
  const tilt = findTilt(work);
  await pause();
  const unturned = frameFromWork(size, work.voxelUm, tilt, 0);
  const turn = findPlaneAngle(coarseVolume(work, unturned, work.voxelUm[0], bin)).radians;
  await pause();
  let frame = frameFromWork(size, work.voxelUm, tilt, turn);
  const look = (scales: readonly number[]) =>
    search(
      {
        ...{ volume: coarseVolume(work, frame, pixel, bin), stack, centresUm: input.centresUm, scales },
        ...{ signs: input.signs, slowUm: work.slowUm, keep: 24 },
        side: sideFor(work, pixel, input.centresUm),
      },
      pause,
    );
  const first = distinct((await look(SCALES)).found, TRIED);
  let best: Refined | null = null;
  let from: Hypothesis | null = null;
  for (const hypothesis of first) {
    const start = compose3(dieFromFrame(hypothesis), frame);
    if (!input.allowed(start)) continue;
    const refined = await refine(work, start, hypothesis.sign, stack, 2, pause);
    if (best && refined.score <= best.score) continue;
    best = refined;
    from = hypothesis;
  }
  if (!best || !from) return { ...judge(null, [], []), best: null, runnerUp: null };
  best = await refine(work, best.workToDie, best.sign, stack, 5, pause);
  // With tilt, turn and scale of the best, every rival is judged at its best too.
  frame = alignedFrame(best.workToDie, from, size);
  const again = (await look([1])).found;
  const middle = apply3(best.workToDie, [(size[0] - 1) / 2, (size[1] - 1) / 2, (size[2] - 1) / 2]);
  const isBest = (h: Hypothesis): boolean =>
    h.orientation === from.orientation &&
    h.rising === from.rising &&
    h.sign === from.sign &&
    Math.hypot(h.x - middle[0], h.y - middle[1]) < APART_UM.plane &&
    Math.abs(h.z - middle[2]) < APART_UM.height;
  const own = again.find(isBest) ?? null;
  const others = distinct(
    again.filter((h) => !isBest(h)),
    RIVALS,
  );
  const rivals: Rival[] = [];
  for (const hypothesis of others) {
    const start = compose3(dieFromFrame(hypothesis), frame);
    rivals.push({ hypothesis, refined: await refine(work, start, hypothesis.sign, stack, 2, pause) });
  }
  const judgement = judge({ refined: best, coarse: own, middle }, rivals, nullScores(again, from));
  const runnerUp = rivals.reduce<Rival | null>(
    (top, rival) => (top && top.refined.score >= rival.refined.score ? top : rival),
    null,
  );
  return { ...judgement, best, runnerUp };
}

/** Frame whose axes, height and scale are those of the die as the refined map has them. */
function alignedFrame(
  workToDie: Affine3,
  from: Hypothesis,
  size: readonly [number, number, number],
): Affine3 {
  const middle = apply3(workToDie, [(size[0] - 1) / 2, (size[1] - 1) / 2, (size[2] - 1) / 2]);
  const pose = { ...from, scale: 1, x: middle[0], y: middle[1], z: middle[2] };
  return compose3(invert3(dieFromFrame(pose)), workToDie);
}

/** Best score of every other combination of orientation and slice order: what a wrong place gets on this very scan. */
function nullScores(found: readonly Hypothesis[], best: Hypothesis): number[] {
  const scores: number[] = [];
  for (let orientation = 0; orientation < ORIENTATIONS.length; orientation++) {
    for (const rising of [1, -1]) {
      if (orientation === best.orientation && rising === best.rising) continue;
      const top = found.find((h) => h.orientation === orientation && h.rising === rising);
      if (top) scores.push(top.score);
    }
  }
  return scores;
}

/** The best few that are different places. */
function distinct(found: readonly Hypothesis[], count: number): Hypothesis[] {
  const kept: Hypothesis[] = [];
  for (const h of found) {
    if (kept.length >= count) break;
    const same = kept.some(
      (o) =>
        o.orientation === h.orientation &&
        o.rising === h.rising &&
        o.sign === h.sign &&
        Math.hypot(o.x - h.x, o.y - h.y) < APART_UM.plane &&
        Math.abs(o.z - h.z) < APART_UM.height,
    );
    if (!same) kept.push(h);
  }
  return kept;
}

function sideFor(work: WorkVolume, pixel: number, centresUm: Box): number {
  const field = Math.hypot(work.nx * work.voxelUm[0], work.ny * work.voxelUm[1]) / pixel + 6;
  const wanted = Math.max(centresUm[2] - centresUm[0], centresUm[3] - centresUm[1]) / pixel + field;
  for (let side = 128; side < LARGEST_SIDE; side *= 2) if (side >= wanted) return side;
  return LARGEST_SIDE;
}
