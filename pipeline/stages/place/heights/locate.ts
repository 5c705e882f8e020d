/** From profiles to levels: a first assignment by dynamic programming, then the joint fit, then a check of every layer. */
import { percentile } from '../../../kernels/statistics.ts';
import { assignLevels, type StretchCosts } from './assign.ts';
import {
  expected,
  fitLevels,
  type LayerProfile,
  type LevelFit,
  type LevelPrior,
  type LevelStart,
} from './fit-levels.ts';
import { type Ladder, layersWithin } from './levels.ts';
import type { Profiles } from './profiles.ts';

/** One standard deviation of a thickness; films are held to a tenth, and a fifth is still allowed. */
export const THICKNESS_SD = 0.07;
/** Thicknesses farther off than this are not considered. */
const THICKNESS_MOST = 0.25;
/** One standard deviation of the depth scale. */
const SCALE_SD = 0.03;
/** Height of the stack in the frame of the placement: what a placement with the nominal stack may be wrong by. */
const OFFSET_SD_UM = 0.25;
const OFFSET_MOST_UM = 0.9;
/**
 * Values at neighbouring heights share noise and faults of the model: so many of them count as one.
 */
const SHARED = 3;
/** Share of a strength by which a profile may miss its box at any height. */
const MODEL_SHARE = 0.03;
/** The same for a layer that the scan ends in: its strength cannot be held against both of its faces. */
const MODEL_SHARE_CUT = 0.15;
/** What a missing cone makes of a step: it runs over by about this share before it settles. */
const OVERSHOOT = 0.1;
/** A strength must stand so many times above what the layer's drawing finds elsewhere. */
const LEAST_SIGNIFICANCE = 3.5;
/** Share of a layer's profile that the box must explain. */
const LEAST_EXPLAINED = 0.6;

export interface Located {
  readonly ladder: Ladder;
  readonly fit: LevelFit;
  /** What the fit was made of; a layer that is not in it was not seen. */
  readonly profiles: readonly LayerProfile[];
  readonly prior: LevelPrior;
  /** For each layer of the stack: strength against what its drawing finds where it is not; 0 where not used. */
  readonly significance: readonly number[];
}

interface Candidate {
  readonly layer: number;
  readonly answers: Float64Array;
  readonly strength: number;
  readonly noise: number;
}

/** @returns null where no layer can be told from noise */
export function locateLevels(ladder: Ladder, profiles: Profiles, stepUm: number): Located | null {
  const candidates = firstLook(ladder, profiles, stepUm);
  if (candidates.length === 0) return null;
  const heights = roughHeights(ladder, profiles, candidates, stepUm);
  if (!heights) return null;
  let prior: LevelPrior = {
    ...{ thickness: THICKNESS_SD, scale: SCALE_SD, offsetUm: OFFSET_SD_UM },
    ...{ blurUm: 2 * stepUm, blur: 0.5, overshoot: OVERSHOOT, overshootSd: 0.05 },
  };
  let used = candidates.map((c) => weighed(profiles, c.layer, c.strength, c.noise));
  let start: LevelStart = {
    heightsUm: Float64Array.from(heights),
    strength: Float64Array.from(candidates, (c) => c.strength),
    blurUm: Float64Array.from(candidates, () => prior.blurUm),
    overshoot: Float64Array.from(candidates, () => OVERSHOOT),
  };
  let fit = fitLevels(ladder, profiles.zUm, used, prior, start);
  const significance = ladder.bottom.map(() => 0);
  for (let round = 0; round < 4; round++) {
    const checked = used.map((_, n) => checkLayer(ladder, profiles.zUm, used, fit, n));
    const good = checked.flatMap((check, n) => (check.good ? [n] : []));
    if (good.length === 0) return null;
    significance.fill(0);
    for (const n of good) significance[used[n]!.layer] = checked[n]!.significance;
    const blurs = Float64Array.from(good, (n) => fit.blurUm[n]!).sort();
    prior = { ...prior, blurUm: percentile(blurs, 0.5), blur: 0.2, overshootSd: 0.15 };
    start = {
      heightsUm: fit.heightsUm,
      strength: Float64Array.from(good, (n) => fit.strength[n]!),
      blurUm: Float64Array.from(good, (n) => fit.blurUm[n]!),
      overshoot: Float64Array.from(good, (n) => fit.overshoot[n]!),
    };
    const settled = good.length === used.length && round > 0;
    used = good.map((n) => {
      const { layer } = used[n]!;
      const cut =
        fit.heightsUm[ladder.bottom[layer]!]! < profiles.zUm[0]! ||
        fit.heightsUm[ladder.top[layer]!]! > profiles.zUm.at(-1)!;
      return weighed(profiles, layer, fit.strength[n]!, checked[n]!.noise, cut);
    });
    fit = fitLevels(ladder, profiles.zUm, used, prior, start);
    if (settled) break;
  }
  return { ladder, fit, profiles: used, prior, significance };
}

/** Where each layer's drawing is found best, within reach of where it should lie. */
function firstLook(ladder: Ladder, profiles: Profiles, stepUm: number): Candidate[] {
  const { zUm, strength } = profiles;
  const found = profiles.visible.flatMap((visible, layer) => {
    if (!visible) return [];
    const bottom = ladder.nominalUm[ladder.bottom[layer]!]!;
    const top = ladder.nominalUm[ladder.top[layer]!]!;
    const slack = OFFSET_MOST_UM / 2 + 0.06 * Math.abs((bottom + top) / 2 - zUm[zUm.length >> 1]!);
    const own = strength[layer]!;
    const answers = answersOf(profiles, layer);
    const half = Math.max(0, Math.round((top - bottom) / stepUm / 2) - 1);
    let best = 0;
    for (let p = 0; p < zUm.length; p++) {
      if (zUm[p]! < bottom - slack || zUm[p]! > top + slack) continue;
      let [sum, count] = [0, 0];
      for (let q = Math.max(0, p - half); q <= Math.min(zUm.length - 1, p + half); q++)
        if (!Number.isNaN(own[q])) {
          sum += own[q]!;
          count++;
        }
      if (count > half && Math.abs(sum / count) > Math.abs(best)) best = sum / count;
    }
    // Where a layer with a like drawing may lie is no place to look for noise.
    const zones = [...answers.keys()]
      .filter((m) => m === layer || Math.abs(answers[m]!) > 0.1 * answers[layer]!)
      .map((m) => [ladder.nominalUm[ladder.bottom[m]!]! - slack, ladder.nominalUm[ladder.top[m]!]! + slack]);
    const outside = [...own.keys()].filter(
      (p) => !Number.isNaN(own[p]) && !zones.some(([low, high]) => zUm[p]! >= low! && zUm[p]! <= high!),
    );
    const noise = outside.length >= 8 ? spreadOf(outside.map((p) => own[p]!)) : Math.abs(best) / 6;
    const pixels = percentile(finite(profiles.sd[layer]!), 0.5);
    if (best === 0 || answers[layer]! < LEAST_OWN) return [];
    return [{ layer, strength: best / answers[layer]!, noise: Math.max(noise, pixels), answers }];
  });
  // Metals are either all brighter or all darker than what they are embedded in; what disagrees is a leak.
  const balance = found.reduce(
    (sum, c) =>
      sum + Math.sign(c.strength) * Math.min(50, (c.answers[c.layer]! * Math.abs(c.strength)) / c.noise),
    0,
  );
  return found.filter(
    (c) =>
      Math.sign(c.strength) === Math.sign(balance) &&
      c.answers[c.layer]! * Math.abs(c.strength) >= LEAST_SIGNIFICANCE * c.noise,
  );
}

const finite = (values: Float64Array): Float64Array => {
  const kept = values.filter((v) => Number.isFinite(v)).sort();
  return kept.length > 0 ? kept : Float64Array.of(0);
};

const spreadOf = (values: readonly number[]): number =>
  1.4826 * percentile(Float64Array.from(values, Math.abs).sort(), 0.5);

/** Share of a strength that a box, blurred or not, may miss at any height. */
const MODEL_FAULT = 0.2;

function roughHeights(
  ladder: Ladder,
  profiles: Profiles,
  candidates: readonly Candidate[],
  stepUm: number,
): number[] | null {
  const { zUm, strength } = profiles;
  const { nominalUm } = ladder;
  const beyond = Math.ceil((nominalUm.at(-1)! - nominalUm[0]! + OFFSET_MOST_UM) / stepUm);
  const cellsBelow = Math.max(
    0,
    Math.min(beyond, Math.ceil((zUm[0]! - nominalUm[0]! + OFFSET_MOST_UM) / stepUm)),
  );
  const cellsAbove = Math.max(
    0,
    Math.min(beyond, Math.ceil((1.1 * nominalUm.at(-1)! + OFFSET_MOST_UM - zUm.at(-1)!) / stepUm)),
  );
  const cells = cellsBelow + zUm.length + cellsAbove;
  const costs = candidates.map(({ layer, strength: c, noise, answers }) => {
    const variance = noise * noise + (MODEL_FAULT * answers[layer]! * c) ** 2;
    return (p: number, present: readonly Candidate[]): number => {
      const a = strength[layer]![p]!;
      if (Number.isNaN(a)) return 0;
      const misfit = (d: number): number => Math.min(8, (d * d) / (2 * variance)) / SHARED;
      return misfit(a - present.reduce((sum, m) => sum + answers[m.layer]! * m.strength, 0)) - misfit(a);
    };
  });
  const stretches = nominalUm.slice(1).map((high, n): StretchCosts => {
    const expected = (high - nominalUm[n]!) / stepUm;
    const list = new Float64Array(cells);
    const within = layersWithin(ladder, n);
    const present = candidates.filter(({ layer }) => within.includes(layer));
    if (present.length > 0)
      for (let p = 0; p < zUm.length; p++)
        for (const cost of costs) list[cellsBelow + p]! += cost(p, present);
    return {
      cells: list,
      expected,
      sd: Math.hypot(THICKNESS_SD, SCALE_SD) * expected + 0.5,
      least: Math.max(0, Math.floor((1 - THICKNESS_MOST) * expected)),
      most: Math.ceil((1 + THICKNESS_MOST) * expected),
    };
  });
  const edge = (cell: number): number => zUm[0]! + (cell - cellsBelow - 0.5) * stepUm;
  const start = Float64Array.from({ length: cells + 1 }, (_, cell) => {
    const off = edge(cell) - nominalUm[0]!;
    const sd = OFFSET_SD_UM + SCALE_SD * Math.abs(nominalUm[0]! - zUm[zUm.length >> 1]!);
    return (off * off) / (2 * sd * sd);
  });
  const assigned = assignLevels(stretches, start);
  return assigned?.levels.map(edge) ?? null;
}

/** A layer that answers to itself less than this is not told from its like. */
const LEAST_OWN = 0.08;

function answersOf({ mixing, visible }: Profiles, layer: number): Float64Array {
  return mixing.slice(layer * visible.length, (layer + 1) * visible.length);
}

/** A profile with the variance of its values. */
function weighed(
  profiles: Profiles,
  layer: number,
  strength: number,
  noise: number,
  cut = false,
): LayerProfile {
  const own = profiles.strength[layer]!;
  const sd = profiles.sd[layer]!;
  const model = (cut ? MODEL_SHARE_CUT : MODEL_SHARE) * strength;
  return {
    layer,
    answers: answersOf(profiles, layer),
    strength: own,
    variance: own.map((value, p) =>
      Number.isNaN(value) ? Infinity : SHARED * (sd[p]! ** 2 + noise ** 2 + model ** 2),
    ),
  };
}

/** How far around a layer its drawing is held against what the fit says, micrometres. */
const AROUND_UM = 1.2;

function checkLayer(
  ladder: Ladder,
  zUm: readonly number[],
  profiles: readonly LayerProfile[],
  fit: LevelFit,
  n: number,
): { good: boolean; noise: number; significance: number } {
  const { layer, strength, answers } = profiles[n]!;
  const bottom = fit.heightsUm[ladder.bottom[layer]!]!;
  const top = fit.heightsUm[ladder.top[layer]!]!;
  const c = fit.strength[n]! * answers[layer]!;
  const blur = fit.blurUm[n]!;
  const { all, own } = expected(ladder, zUm, profiles, fit, n);
  let [squares, count, total, sum, outside, outsideCount] = [0, 0, 0, 0, 0, 0];
  for (let p = 0; p < zUm.length; p++) {
    const z = zUm[p]!;
    if (Number.isNaN(strength[p]) || z < bottom - AROUND_UM || z > top + AROUND_UM) continue;
    const left = strength[p]! - all[p]!;
    // What the layer's own box has to explain: the profile without the others.
    const mine = left + own[p]!;
    squares += left * left;
    total += mine * mine;
    sum += mine;
    count++;
    if (z < bottom - 2 * blur || z > top + 2 * blur) {
      outside += left * left;
      outsideCount++;
    }
  }
  const noise = Math.sqrt(squares / Math.max(1, count));
  const elsewhere = outsideCount > 0 ? Math.sqrt(outside / outsideCount) : noise;
  const significance = Math.abs(c) / Math.max(elsewhere, 1e-300);
  const centred = total - (sum * sum) / Math.max(1, count);
  // A scan that lies wholly inside a layer shows no rise and no fall to explain.
  const explained = count === 0 ? 0 : 1 - squares / Math.max(centred, 0.3 * total, 1e-300);
  const sameSign = Math.sign(c) === Math.sign(sum);
  return {
    good: sameSign && significance >= LEAST_SIGNIFICANCE && explained >= LEAST_EXPLAINED,
    noise,
    significance,
  };
}
