/** Looks over a layer for faults, and for the decoys that tell how many of them are false. */
import { sharedMask } from '../../kernels/shared-raster.ts';
import type { Difference, Field } from './box-fit.ts';
import { clip, grow, meet } from './canvas.ts';
import { COUPLING_REACH } from './evidence.ts';
import type { FillGroup } from './fill-groups.ts';
import { differencesAt } from './find-differences.ts';
import { LEAST_Z } from './odds.ts';
import { seedsOf } from './seeds.ts';

/** Decoys are searched from here on, or from a higher level where they are many. */
const DECOY_Z = 4;
/** Faults are looked for where their evidence is above that of the decoy of this rank. */
const DECOY_RANK = 40;
/** Differences this close to fill are its edges. */
const FILL_RIM_PX = 4;
/** What is found beside a difference so many times stronger is what the fit of the stronger one left over. */
const LEFTOVER = 8;

export interface Searched {
  readonly found: readonly Difference[];
  readonly decoys: readonly Difference[];
  /** The decoys are complete from here up: the tail is only as good as its lower end. */
  readonly decoyZ: number;
}

/**
 * Faults first, so that their own halos are not counted as decoys.
 * @param clear 1 where differences are looked for
 */
export function searchLayer(field: Field, clear: Uint8Array): Searched {
  const work: Field = { ...field, gain: field.gain.slice(), judged: clear };
  const seeds = seedsOf(work, { leastZ: DECOY_Z });
  const leastZ = Math.max(LEAST_Z, seeds.decoys.at(DECOY_RANK)?.z ?? 0);
  const found = withoutLeftovers(differencesAt(seeds.faults, work, { leastZ, what: 'faults' }));
  const left = seedsOf(work, { leastZ: DECOY_Z }).decoys;
  const decoyZ = Math.max(DECOY_Z, left.at(2 * DECOY_RANK)?.z ?? 0);
  const decoys = differencesAt(left, work, { leastZ: decoyZ, what: 'decoys' }).filter(
    (d) => !found.some((f) => f.z > 2 * d.z && meet(grow(f, COUPLING_REACH), d)),
  );
  return { found, decoys, decoyZ };
}

/** @param found strongest first */
function withoutLeftovers(found: readonly Difference[]): Difference[] {
  const out: Difference[] = [];
  for (const d of found)
    if (!out.some((f) => f.z > LEFTOVER * d.z && meet(grow(f, COUPLING_REACH), d))) out.push(d);
  return out;
}

/** 1 where a layer is judged and clear of fill and its edges. */
export function clearOfFill(
  { width, height, drawn, known, judged }: Field,
  fill: readonly FillGroup[],
): Uint8Array {
  const clear = sharedMask(width * height);
  for (let n = 0; n < clear.length; n++) if (judged[n] !== 0 && known[n]! - drawn[n]! <= 0.5) clear[n] = 1;
  for (const group of fill)
    for (const d of group.members) {
      const box = clip(grow(d, FILL_RIM_PX), { width, height });
      for (let y = box.y0; y < box.y1; y++) clear.fill(0, y * width + box.x0, y * width + box.x1);
    }
  return clear;
}
