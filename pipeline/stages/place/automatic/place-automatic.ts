/** Automatic placement of one scan: a shortlist from a search everywhere, its best refined, told apart, settled and judged. */
import { compose3 } from '../../../../shared/affine.ts';
import type { Evidence as EvidenceArtefact } from '../../../../shared/artefacts/evidence.ts';
import { ladderOf } from '../heights/levels.ts';
import type { AutomaticInput } from './automatic-input.ts';
import { contest } from './contest.ts';
import { cutDrawing, exactDrawing } from './die-view.ts';
import { decoysOf, evidenceArtefact, searchWords } from './evidence.ts';
import { finals } from './finals.ts';
import { type Candidate, type Improvers, openImprovers } from './improve.ts';
import { middleOf } from './places.ts';
import { type Refined, type RefineRound, refine } from './refine.ts';
import { againstBorder, againstSaid } from './said.ts';
import { shortlist } from './shortlist.ts';
import { type Judgement, judge, type Tried } from './verdict.ts';
import type { WorkVolume } from './work-volume.ts';

export interface AutomaticResult extends Judgement {
  readonly best: Refined | null;
  readonly runnerUp: Candidate | null;
  /** For the page that shows why to believe the place; null where there is none. */
  readonly shown: EvidenceArtefact | null;
}

/** Times a bending of the field is looked for. */
const BEND_ROUNDS = 2;

export async function placeAutomatically(input: AutomaticInput): Promise<AutomaticResult> {
  const improvers = openImprovers(input.threads, input.pause, input.signal);
  try {
    return await place(input, improvers);
  } finally {
    await improvers.close();
  }
}

async function place(input: AutomaticInput, improvers: Improvers): Promise<AutomaticResult> {
  const { work, stack, pause } = input;
  const listed = await shortlist(input, improvers);
  const last = listed && (await finals(input, listed, improvers));
  if (!last) return { ...judge(null, [], []), best: null, runnerUp: null, shown: null };
  const { best, apart: toldApart } = await contest({
    ...{ work, stack, best: last.best, rivals: last.rivalsOf(last.best), pause },
    ...{ more: last.passedOver, repeatsAt: last.repeatsAt },
  });
  const rivals = last.rivalsOf(best);
  const fine = await settled(input, best);
  const { orientations, coarse, layout, apart } = listed;
  const own = best.hypothesis.orientation + (best.hypothesis.rising === 1 ? 0 : 8);
  const found = Math.max(best.hypothesis.score, orientations[own]!);
  const { latticeUm } = last.repeats;
  const judgement = judge(
    { tried: triedOf(work, best), finest: fine.agreement, found },
    rivals.map((rival) => triedOf(work, rival, toldApart.get(rival))),
    orientations.filter((_, n) => n !== own),
    latticeUm,
  );
  const runnerUp = rivals[0] ?? last.coarse[0] ?? null;
  const shown = evidenceArtefact({
    ...{ work: coarse.work, workToDie: compose3(fine.workToDie, coarse.toFinest), sign: fine.sign },
    ...{ drawing: cutDrawing(layout), agreement: fine.agreement },
    ...{ words: searchWords(judgement.evidence), latticeUm },
    decoys: decoysOf(orientations, own, found, fine.score),
    runnerUp: runnerUp && {
      workToDie: compose3(runnerUp.workToDie, coarse.toFinest),
      sign: runnerUp.refined.sign,
      score: runnerUp.refined.score,
    },
  });
  const here = middleOf(work, fine.workToDie);
  const told = againstBorder(againstSaid(judgement, input.saidUm ?? null, here), input, here, apart.planeUm);
  return { ...told, best: fine, runnerUp, shown };
}

/** The place on the finest level, with a bending where one is found, all parameters settled together. */
function settled({ work, stack, pause }: AutomaticInput, best: Candidate): Promise<Refined> {
  const drawing = exactDrawing(stack, work.voxelUm[0], work.slowUm);
  return refine(work, best.workToDie, best.refined.sign, drawing, finest(work.voxelUm[0]), pause, {
    drawing,
    bendRounds: BEND_ROUNDS,
    levelsUm: [...new Set([0, ...ladderOf(stack.layers).nominalUm])].sort((a, b) => a - b),
  });
}

const finest = (voxelUm: number): RefineRound[] =>
  [8, 5].map((voxels) => ({ reachUm: voxels * voxelUm, deepUm: 0.3 }));

const triedOf = (work: WorkVolume, { refined, workToDie }: Candidate, toldBy?: number): Tried => ({
  agreement: refined.agreement,
  middle: middleOf(work, workToDie),
  ...(toldBy === undefined ? {} : { toldBy }),
});
