/** Looks over a layer for places where metal is missing or too much, from the strongest down. */
import { BoxFitter, type Difference, type Field, type Ground } from './box-fit.ts';
import { clip, grow, type PixelBox } from './canvas.ts';
import { SLOW_PX } from './kernel-bank.ts';
import { type Looking, SEED_SHARE, type Seed, seedsOf, signOf, type What } from './seeds.ts';

/** Below this amplitude a significant difference is a misfit of the model, not metal that came or went. */
const LEAST_AMPLITUDE = 0.35;
/**
 * Metal is there or it is not: what is as large as the blur is wide comes or goes nearly fully (a round blob fills 0.79 of
 * the box around it), while a patch of the field that shines a little more or less is a share of all its metal. What is
 * smaller may be a part of a pixel deep, and a strip may be a wire that lost part of its width. Shorter sides, pixels.
 */
const LARGE_AMPLITUDE = 0.6;
const [SMALL_PX, LARGE_PX] = [4, 8];
/** A box so much longer than wide is a strip. */
const STRIP = 2;
/** So much more than metal could make of it is no metal of this layer. */
const MOST_AMPLITUDE = 2.5;
/** An edge that stands off by less than this, in pixels over a long stretch, is no difference but the edge's own doubt. */
const LEAST_DEPTH_PX = 1;
const LONG = 4;
/** A still longer stretch is an edge as a whole, which lies as far off as its layer and the place of the scan leave open. */
const WHOLE_EDGE_DEPTH_PX = 1.5;
const WHOLE_EDGE = 16;
/** The slow part of an image is drift, not metal: a change so wide both ways shows in its edges alone, and fully. */
const WIDE_PX = 2 * SLOW_PX;
const WIDE_AMPLITUDE = 0.7;

export interface Search extends Looking {
  /** `faults`: metal missing where drawn, or present where not. `decoys`: the two that physics forbids. */
  readonly what: What;
}

/**
 * Strongest first. What is found is taken out of `field.gain`.
 *
 * Decoys are more than full metal, and less than none: only noise and misfit make them, so that their number tells how
 * many of the faults are false.
 */
export const findDifferences = (field: Field, search: Search): Difference[] =>
  differencesAt(seedsOf(field, search)[search.what], field, search);

/** @param places of the field as it is; those that are too weak are left out */
export function differencesAt(places: readonly Seed[], field: Field, search: Search): Difference[] {
  const fitter = new BoxFitter(field);
  const found: Difference[] = [];
  const taken: Record<Ground, Uint8Array> = {
    metal: new Uint8Array(field.gain.length),
    gap: new Uint8Array(field.gain.length),
  };
  for (const seed of places) {
    const { box, ground } = seed;
    if (seed.z < SEED_SHARE * search.leastZ) continue;
    const middle = ((box.y0 + box.y1) >> 1) * field.width + ((box.x0 + box.x1) >> 1);
    if (taken[ground][middle] !== 0) continue;
    const sign = signOf(ground, search.what);
    // What was found before may have explained this seed.
    if (fitter.evidence(box, ground, sign) < 0.7 * seed.evidence) continue;
    const fitted = fitter.fit(box, ground, sign, search.leastZ);
    if (!fitted || fitted.z < search.leastZ || fitted.amplitude < leastAmplitude(fitted)) continue;
    if (fitted.amplitude > MOST_AMPLITUDE || !tellable(fitted)) continue;
    fitter.account(fitted);
    found.push(fitted);
    const around = clip(grow(fitted, 1), field);
    for (let y = around.y0; y < around.y1; y++)
      taken[ground].fill(1, y * field.width + around.x0, y * field.width + around.x1);
  }
  return found.sort((a, b) => b.z - a.z);
}

/** Least share of a difference's box on its ground that must have come or gone. */
export function leastAmplitude({ x0, y0, x1, y1, areaPx }: PixelBox & { areaPx: number }): number {
  const [short, long] = [Math.min(x1 - x0, y1 - y0), Math.max(x1 - x0, y1 - y0)];
  if (short <= LARGE_PX && long >= STRIP * short) return LEAST_AMPLITUDE;
  const side = Math.min(short, Math.sqrt(areaPx));
  const large = Math.min(Math.max((side - SMALL_PX) / (LARGE_PX - SMALL_PX), 0), 1);
  return LEAST_AMPLITUDE + (LARGE_AMPLITUDE - LEAST_AMPLITUDE) * large;
}

function tellable(d: Difference): boolean {
  const [w, h] = [d.x1 - d.x0, d.y1 - d.y0];
  const [short, long] = [Math.min(w, h), Math.max(w, h)];
  if (short > WIDE_PX && d.amplitude < WIDE_AMPLITUDE) return false;
  if (long <= LONG * short) return true;
  const least = long <= WHOLE_EDGE * short ? LEAST_DEPTH_PX : WHOLE_EDGE_DEPTH_PX;
  return (d.areaPx / long) * d.amplitude >= least;
}
