/** How the layers lie against the plane the placement gives them: lifted here, lowered there, slowly over the field. */

import type { Placement } from '../../../../shared/artefacts/placement.ts';
import type { PlateGrid } from '../../../../shared/frames.ts';
import { percentile } from '../../../kernels/statistics.ts';
import type { FieldSums } from './evidence.ts';
import { expected } from './fit-levels.ts';
import type { Located } from './locate.ts';
import { invert, solveProfiles } from './profiles.ts';

/** The lift of one block of the field against the whole of it. */
export interface Lift {
  /** Middle of the block, from -1 to 1 over the grid: along X, and up along Y. */
  readonly at: readonly [number, number];
  readonly liftUm: number;
  readonly sdUm: number;
}

/** Coefficients of 1, p, q, p^2, p q and q^2, micrometres; of mean 0 over the field. */
export type BowTerms = readonly number[];

const LEAST_SD = 0.05;
/** Half the step of numerical slopes, micrometres. */
const STEP = 1e-3;
/** What a block's lift may be off by for reasons that its scatter does not show, in plates. */
const BLOCK_FAULT = 0.15;

export function blockLifts(field: FieldSums, located: Located, stepUm: number): Lift[] {
  const { ladder, fit, profiles } = located;
  return field.blocks.flatMap((block): Lift[] => {
    const own = solveProfiles(field, [block], false);
    const layers = own.visible.length;
    const here = profiles.map(({ layer }) => ({
      ...{ layer, strength: own.strength[layer]!, variance: new Float64Array(0) },
      answers: own.mixing.subarray(layer * layers, (layer + 1) * layers),
    }));
    let lift = 0;
    let information = 0;
    for (let round = 0; round < 6; round++) {
      const at = (by: number) => {
        const moved = { ...fit, heightsUm: fit.heightsUm.map((z) => z + by) };
        return profiles.map((_, n) => expected(ladder, field.zUm, here, moved, n).all);
      };
      const [low, middle, high] = [at(lift - STEP), at(lift), at(lift + STEP)];
      let pull = 0;
      information = 0;
      profiles.forEach(({ layer }, n) => {
        const reach = 5 * fit.blurUm[n]!;
        const from = fit.heightsUm[ladder.bottom[layer]!]! + lift - reach;
        const to = fit.heightsUm[ladder.top[layer]!]! + lift + reach;
        const found = here[n]!.strength;
        const near = [...field.zUm.keys()].filter(
          (p) => field.zUm[p]! >= from && field.zUm[p]! <= to && !Number.isNaN(found[p]),
        );
        let [aa, ab, bb, squares] = [0, 0, 0, 0];
        for (const p of near) {
          aa += found[p]! ** 2;
          ab += found[p]! * middle[n]![p]!;
          bb += middle[n]![p]! ** 2;
        }
        if (near.length < 6 || bb === 0) return;
        // How strong the layer comes out in this block, against the whole field.
        const share = ab / bb;
        for (const p of near) squares += (found[p]! - share * middle[n]![p]!) ** 2;
        // A block where the layer's drawing is not found, or found upside down, says nothing.
        if (share <= 0 || squares > 0.5 * aa) return;
        const c = share * fit.strength[n]! * here[n]!.answers[layer]!;
        const weight = 1 / (3 * (squares / near.length + (LEAST_SD * c) ** 2));
        for (const p of near) {
          const slope = (share * (high[n]![p]! - low[n]![p]!)) / (2 * STEP);
          pull += weight * (found[p]! - share * middle[n]![p]!) * slope;
          information += weight * slope * slope;
        }
      });
      if (information === 0) break;
      const step = Math.max(-2 * stepUm, Math.min(2 * stepUm, pull / information));
      lift += step;
      if (Math.abs(step) < 1e-4) break;
    }
    if (information === 0) return [];
    const sdUm = Math.hypot(1 / Math.sqrt(information), BLOCK_FAULT * stepUm);
    return [{ at: block.at, liftUm: lift, sdUm }];
  });
}

const basis = ([p, q]: readonly [number, number]): number[] => [1, p, q, p * p, p * q, q * q];

/** Blocks of the field that must speak for a bow to be looked for, and the share of all blocks. */
const LEAST_BLOCKS = 12;
const LEAST_SHARE = 0.6;
/** A block predicted from all others must come out better with the bow than without: its square, on average, by this. */
const LEAST_PREDICTED = 0.6;
/** A lift nowhere larger than this, in plates, is left alone. */
const LEAST_LIFT = 0.3;
/** Fall of chi-square per term that is asked for: about one chance in a thousand for a term that is not there. */
const LEAST_GAIN = 11;

/**
 * The smooth surface through the lifts, if they ask for one: each term must lower chi-square, scaled so that the full
 * surface fits as well as most of its residuals allow, by more than chance would, and every block must be predicted better by
 * the others. Outlying blocks lose weight (Huber).
 * @returns null where the layers are as flat as can be told
 */
export function fitBow(
  lifts: readonly Lift[],
  field: Pick<FieldSums, 'blocks'>,
  stepUm: number,
): { terms: BowTerms; most: number } | null {
  if (lifts.length < Math.max(LEAST_BLOCKS, LEAST_SHARE * field.blocks.length)) return null;
  const full = solve(lifts, [0, 1, 2, 3, 4, 5]);
  if (!full) return null;
  // The median square of a normal deviate is 0.455; six terms have taken their share of the lifts.
  const spare = (lifts.length - 6) / lifts.length;
  const scale = Math.max(1, percentile(Float64Array.from(full.squares).sort(), 0.5) / (0.455 * spare));
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
      if (predicted(lifts, kept) > LEAST_PREDICTED * predicted(lifts, [0])) return null;
      const terms = [0, 1, 2, 3, 4, 5].map((k) => (k === 0 ? 0 : (now.values[kept.indexOf(k)] ?? 0)));
      const pixels = field.blocks.reduce((sum, block) => sum + block.pixels, 0);
      terms[0] = -field.blocks.reduce((sum, b) => sum + b.pixels * bowAt(terms, ...b.at), 0) / pixels;
      const most = Math.max(...field.blocks.map((block) => Math.abs(bowAt(terms, ...block.at))));
      return most > LEAST_LIFT * stepUm ? { terms, most } : null;
    }
    kept = kept.filter((k) => k !== weakest.term);
    if (kept.length === 1) return null;
  }
}

export const bowAt = (terms: BowTerms, p: number, q: number): number =>
  basis([p, q]).reduce((sum, value, n) => sum + value * terms[n]!, 0);

/** Mean of squared errors, in deviations and cut at 9, of each lift predicted from all others. */
function predicted(lifts: readonly Lift[], kept: readonly number[]): number {
  const errors = lifts.map((lift) => {
    const answer = solve(
      lifts.filter((other) => other !== lift),
      kept,
    );
    if (!answer) return 9;
    const row = basis(lift.at);
    const off = lift.liftUm - kept.reduce((sum, k, i) => sum + row[k]! * answer.values[i]!, 0);
    return Math.min(9, (off / lift.sdUm) ** 2);
  });
  return errors.reduce((sum, e) => sum + e, 0) / errors.length;
}

const HUBER = 2;

function solve(
  lifts: readonly Lift[],
  kept: readonly number[],
): { values: number[]; chiSquare: number; squares: number[] } | null {
  const n = kept.length;
  let weights = lifts.map(() => 1);
  let values: number[] = [];
  let chiSquare = 0;
  let squares: number[] = [];
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
    squares = [];
    weights = lifts.map((lift) => {
      const row = basis(lift.at);
      const off =
        Math.abs(lift.liftUm - kept.reduce((sum, k, i) => sum + row[k]! * values[i]!, 0)) / lift.sdUm;
      squares.push(off * off);
      chiSquare += off <= HUBER ? off * off : HUBER * (2 * off - HUBER);
      return off <= HUBER ? 1 : HUBER / off;
    });
  }
  return { values, chiSquare, squares };
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
