/**
 * The best place against every other that looks nearly as good, shape by shape. Only where each of them is told apart by
 * shapes that differ does a place count as the only one.
 */
import { type Affine3, compose3 } from '../../../../shared/affine.ts';
import { isOther, isOwn, tellApart } from './differences.ts';
import type { DrawnStack } from './drawing.ts';
import type { Refined } from './refine.ts';
import { type Repeats, shifted } from './repeats.ts';
import { type Scene, sceneOf } from './scene.ts';
import type { WorkVolume } from './work-volume.ts';

/** A place as it was refined. */
export interface Contestant {
  readonly workToDie: Affine3;
  readonly refined: Pick<Refined, 'sign' | 'strength'>;
}

export interface Contest<T extends Contestant> {
  readonly best: T;
  /** Rivals that shapes tell apart from the best, by how many; empty unless every place that looks alike is told apart. */
  readonly apart: ReadonlyMap<T, number>;
}

/** Rivals below this share of the best one's strength need no telling apart; nor do places of the drawing less alike. */
export const NEARLY = 0.85;
/** More places than this are too many to have been told apart all. */
const MOST_PLACES = 40;
/** Times a rival may take the place of the best one. */
const ROUNDS = 3;

export interface ContestInput<T extends Contestant> {
  readonly work: WorkVolume;
  readonly stack: DrawnStack;
  readonly best: T;
  readonly rivals: readonly T[];
  /** Places that were refined on the coarse level only and look nearly as good there. */
  readonly more: readonly T[];
  /** Where the drawing under a place repeats. */
  readonly repeatsAt: (place: T) => Promise<Repeats>;
  readonly pause: () => Promise<void>;
}

export async function contest<T extends Contestant>(input: ContestInput<T>): Promise<Contest<T>> {
  const { work, stack, pause } = input;
  const all = [input.best, ...input.rivals];
  let best = input.best;
  for (let round = 0; round < ROUNDS; round++) {
    const close = all.filter((r) => r !== best && r.refined.strength >= NEARLY * best.refined.strength);
    if (close.length === 0) return { best, apart: new Map() };
    await pause();
    const scene = sceneOf(work, best.workToDie, best.refined.sign, stack);
    const apart = new Map<T, number>();
    let better: T | null = null;
    for (const rival of close) {
      await pause();
      const told = tellApart(scene, rival.workToDie);
      if (told && isOwn(told)) apart.set(rival, told.own);
      if (told && isOther(told)) {
        better = rival;
        break;
      }
    }
    if (better) {
      best = better;
      continue;
    }
    const whole = apart.size === close.length && (await everywhere(scene, best, input));
    return { best, apart: whole ? apart : new Map() };
  }
  // They beat each other in turn: none of them is to be believed.
  return { best: input.best, apart: new Map() };
}

/** Whether all other places that look alike, in the search or in the drawing itself, are told apart too. */
async function everywhere<T extends Contestant>(
  scene: Scene,
  best: T,
  { more, repeatsAt, pause }: ContestInput<T>,
): Promise<boolean> {
  const { places } = await repeatsAt(best);
  const alike = places.filter((place) => place.likeness >= NEARLY);
  if (alike.length + more.length > MOST_PLACES) return false;
  const maps = [
    ...more.map((place) => place.workToDie),
    ...alike.map(({ stepUm }) => compose3(shifted(stepUm), best.workToDie)),
  ];
  for (const map of maps) {
    await pause();
    const told = tellApart(scene, map);
    if (!told || !isOwn(told)) return false;
  }
  return true;
}
