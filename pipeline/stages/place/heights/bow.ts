/** How the layers lie against the plane the placement gives them: lifted here, lowered there, slowly over the field. */

import type { Placement } from '../../../../shared/artefacts/placement.ts';
import type { PlateGrid } from '../../../../shared/frames.ts';
import { normal } from '../label-plates.ts';
import type { FieldSums } from './evidence.ts';
import type { Located } from './locate.ts';
import { invert, solveProfiles } from './profiles.ts';

/** The lift of one block of the field against the whole of it. */
export interface Lift {
  /** Middle of the block, from -1 to 1 over the grid: along X, and up along Y. */
  readonly at: readonly [number, number];
  readonly liftUm: number;
  readonly sdUm: number;
}

/** Coefficients of p, q, p^2 - 1/3, p q and q^2 - 1/3, micrometres. */
export type BowTerms = readonly [number, number, number, number, number];

const LEAST_SD = 0.05;

export function blockLifts(field: FieldSums, located: Located, stepUm: number): Lift[] {
  const { ladder, fit, profiles } = located;
  return field.blocks.flatMap((block): Lift[] => {
    const own = solveProfiles(field, [block], false);
    let lift = 0;
    let information = 0;
    for (let round = 0; round < 6; round++) {
      let slopeSum = 0;
      information = 0;
      profiles.forEach(({ layer }, n) => {
        const strength = own.strength[layer]!;
        const bottom = fit.heightsUm[ladder.bottom[layer]!]! + lift;
        const top = fit.heightsUm[ladder.top[layer]!]! + lift;
        const blur = fit.blurUm[n]!;
        let [aa, ab, bb, count, squares] = [0, 0, 0, 0, 0];
        const near: [number, number, number][] = [];
        field.zUm.forEach((z, p) => {
          const a = strength[p]!;
          if (Number.isNaN(a) || z < bottom - 5 * blur || z > top + 5 * blur) return;
          const [u, w] = [(z - bottom) / blur, (z - top) / blur];
          const box = normal(u) - normal(w);
          const slope = (bell(w) - bell(u)) / blur;
          near.push([a, box, slope]);
          aa += a * a;
          ab += a * box;
          bb += box * box;
          count++;
        });
        if (count < 6 || bb === 0) return;
        const c = ab / bb;
        for (const [a, box] of near) squares += (a - c * box) ** 2;
        // A block where the layer's drawing is not found, or found upside down, says nothing.
        if (Math.sign(c) !== Math.sign(fit.strength[n]!) || squares > 0.5 * aa) return;
        const weight = 1 / (3 * (squares / count + (LEAST_SD * c) ** 2));
        for (const [a, box, slope] of near) {
          slopeSum += weight * (a - c * box) * c * slope;
          information += weight * (c * slope) ** 2;
        }
      });
      if (information === 0) break;
      const step = Math.max(-2 * stepUm, Math.min(2 * stepUm, slopeSum / information));
      lift += step;
      if (Math.abs(step) < 1e-4) break;
    }
    return information === 0 ? [] : [{ at: block.at, liftUm: lift, sdUm: 1 / Math.sqrt(information) }];
  });
}

const bell = (x: number): number => Math.exp((-x * x) / 2) / Math.sqrt(2 * Math.PI);

const basis = ([p, q]: readonly [number, number]): number[] => [1, p, q, p * p - 1 / 3, p * q, q * q - 1 / 3];

/** Blocks of the field that must speak for a bow to be looked for. */
const LEAST_BLOCKS = 10;
/** A lift nowhere larger than this, in plates, is left alone. */
const LEAST_LIFT = 0.3;
/** Fall of chi-square per term that is asked for: about one chance in a thousand for a term that is not there. */
const LEAST_GAIN = 11;

/**
 * The smooth surface through the lifts, if they ask for one: each term must lower chi-square, scaled so that the full
 * surface fits as well as its residuals allow, by more than chance would. Outlying blocks lose weight (Huber).
 * @returns null where the layers are as flat as can be told
 */
export function fitBow(lifts: readonly Lift[], stepUm: number): { terms: BowTerms; most: number } | null {
  if (lifts.length < LEAST_BLOCKS) return null;
  const full = solve(lifts, [0, 1, 2, 3, 4, 5]);
  if (!full) return null;
  const spare = Math.max(1, lifts.length - 6);
  const scale = Math.max(1, full.chiSquare / spare);
  let kept = [0, 1, 2, 3, 4, 5];
  for (;;) {
    const now = solve(lifts, kept);
    if (!now) return null;
    const losses = kept.slice(1).map((term) => {
      const without = solve(
        lifts,
        kept.filter((k) => k !== term),
      );
      return { term, loss: without ? (without.chiSquare - now.chiSquare) / scale : Infinity };
    });
    const weakest = losses.reduce((a, b) => (b.loss < a.loss ? b : a), { term: -1, loss: Infinity });
    if (weakest.term < 0 || weakest.loss >= LEAST_GAIN) {
      const terms = [1, 2, 3, 4, 5].map((k) => now.values[kept.indexOf(k)] ?? 0) as unknown as BowTerms;
      const most = Math.max(
        ...[-1, 0, 1].flatMap((p) => [-1, 0, 1].map((q) => Math.abs(bowAt(terms, p, q)))),
      );
      return most > LEAST_LIFT * stepUm ? { terms, most } : null;
    }
    kept = kept.filter((k) => k !== weakest.term);
    if (kept.length === 1) return null;
  }
}

export const bowAt = (terms: BowTerms, p: number, q: number): number =>
  basis([p, q])
    .slice(1)
    .reduce((sum, value, n) => sum + value * terms[n]!, 0);

const HUBER = 2;

function solve(
  lifts: readonly Lift[],
  kept: readonly number[],
): { values: number[]; chiSquare: number } | null {
  const n = kept.length;
  let weights = lifts.map(() => 1);
  let values: number[] = [];
  let chiSquare = 0;
  for (let round = 0; round < 8; round++) {
    const matrix = new Float64Array(n * n);
    const right = new Float64Array(n);
    lifts.forEach((lift, m) => {
      const row = basis(lift.at);
      const w = weights[m]! / lift.sdUm ** 2;
      kept.forEach((a, i) => {
        right[i]! += w * row[a]! * lift.liftUm;
        kept.forEach((b, j) => {
          matrix[i * n + j]! += w * row[a]! * row[b]!;
        });
      });
    });
    for (let i = 0; i < n; i++) matrix[i * n + i]! *= 1 + 1e-9;
    const inverse = invert(matrix, n);
    if (!inverse) return null;
    values = kept.map((_, i) => right.reduce((sum, r, j) => sum + inverse[i * n + j]! * r, 0));
    chiSquare = 0;
    weights = lifts.map((lift) => {
      const row = basis(lift.at);
      const off =
        Math.abs(lift.liftUm - kept.reduce((sum, k, i) => sum + row[k]! * values[i]!, 0)) / lift.sdUm;
      chiSquare += off <= HUBER ? off * off : HUBER * (2 * off - HUBER);
      return off <= HUBER ? 1 : HUBER / off;
    });
  }
  return { values, chiSquare };
}

const KNOTS = 9;

/** The bow taken away by the warp of a placement, on the knots of that warp or on knots of its own. */
export function bentBy(
  warp: Placement['warp'],
  terms: BowTerms,
  grid: PlateGrid,
): NonNullable<Placement['warp']> {
  const wide = (grid.width_px - 1) * grid.pixel_um;
  const high = (grid.height_px - 1) * grid.pixel_um;
  const step = Math.max(wide, high, grid.pixel_um) / (KNOTS - 1);
  const base = warp ?? {
    origin_um: [grid.origin_um[0], grid.origin_um[1] - high],
    step_um: step,
    shape: [Math.ceil(high / step) + 1, Math.ceil(wide / step) + 1],
    ...{ dx_um: [], dy_um: [], dz_um: [] },
  };
  const [rows, columns] = base.shape;
  const dz = Array.from({ length: rows * columns }, (_, n) => {
    const x = base.origin_um[0] + (n % columns) * base.step_um;
    const y = base.origin_um[1] + Math.floor(n / columns) * base.step_um;
    const p = (2 * (x - grid.origin_um[0])) / wide - 1;
    const q = 1 - (2 * (grid.origin_um[1] - y)) / high;
    return bowAt(terms, held(p), held(q));
  });
  const zeros = dz.map(() => 0);
  return {
    ...base,
    dx_um: warp ? warp.dx_um : zeros,
    dy_um: warp ? warp.dy_um : zeros,
    dz_um: dz.map((v, n) => (warp?.dz_um[n] ?? 0) - v),
  };
}

const held = (v: number): number => Math.max(-1.1, Math.min(1.1, v));
