/** From the sums over blocks of the field to the strength of every layer at every height. */
import { percentile } from '../../../kernels/statistics.ts';
import type { BlockSums, FieldSums } from './evidence.ts';

export interface Profiles {
  readonly zUm: readonly number[];
  /** For each layer, its strength at every height in grey values of the scan; NaN where nothing is known. */
  readonly strength: readonly Float64Array[];
  /**
   * For each layer, the standard deviation of its strength from the noise of the pixels alone, as it is in the plates
   * with the least unexplained structure.
   */
  readonly sd: readonly Float64Array[];
  /**
   * What the strength of layer l answers to strength 1 of layer m, layers x layers: the unit matrix where all drawings
   * differ; where two are alike, as those of stacked vias, each answers to half of either.
   */
  readonly mixing: Float64Array;
  /** Layers whose drawing shows enough detail in the field to be looked for. */
  readonly visible: readonly boolean[];
}

/** Ridge against drawings that are nearly sums of each other, as a share of their own power. */
const RIDGE = 1e-4;

/**
 * @param blocks the blocks to use; all where left out
 * @param scatter whether the standard deviations are asked for
 */
export function solveProfiles(
  field: FieldSums,
  blocks: readonly BlockSums[] = field.blocks,
  scatter = true,
): Profiles {
  const { layers, zUm, sought } = field;
  const visible = Array.from({ length: layers }, (_, l) => sought.some((s) => s.layer === l));
  const strength = visible.map(() => new Float64Array(zUm.length).fill(Number.NaN));
  const sd = visible.map(() => new Float64Array(zUm.length).fill(Number.NaN));
  const mixing = new Float64Array(layers * layers);
  const n = sought.length;
  if (n === 0) return { zUm, strength, sd, visible, mixing };
  const cross = new Float64Array(n);
  const left = new Float64Array(zUm.length).fill(Number.NaN);
  let key = '';
  let inverse: Solver | null = null;
  const whole = solverOf(blocks, n);
  if (whole)
    sought.forEach((a, i) => {
      sought.forEach((b, j) => {
        if (a.own && b.own) mixing[a.layer * layers + b.layer] = whole.response[i * n + j]!;
      });
    });
  for (let p = 0; p < zUm.length; p++) {
    const here = blocks.filter((block) => !Number.isNaN(block.power[p]!));
    if (here.length === 0) continue;
    const present = here.length === blocks.length ? 'all' : here.map((block) => block.at.join()).join(' ');
    if (present !== key) {
      key = present;
      inverse = present === 'all' ? whole : solverOf(here, n);
    }
    if (!inverse) continue;
    cross.fill(0);
    for (const block of here) {
      const own = block.cross[p]!;
      for (let i = 0; i < n; i++) cross[i]! += own[i]!;
    }
    let explained = 0;
    for (let i = 0; i < n; i++) {
      const { layer, own } = sought[i]!;
      if (!own && !scatter) continue;
      let sum = 0;
      for (let j = 0; j < n; j++) sum += inverse.inverse[i * n + j]! * cross[j]!;
      explained += sum * cross[i]!;
      if (own) strength[layer]![p] = sum;
    }
    if (!scatter) continue;
    const power = here.reduce((sum, block) => sum + block.power[p]!, 0);
    const count = here.reduce((sum, block) => sum + block.pixels, 0);
    left[p] = Math.max(1e-300, power - explained) / Math.max(1, count - n);
    sought.forEach(({ layer, own }, i) => {
      if (own) sd[layer]![p] = Math.sqrt(inverse!.spread[i]!);
    });
  }
  if (scatter) scaleByNoise(left, sd);
  return { zUm, strength, sd, visible, mixing };
}

/** Share of the plates that are quieter than what counts as noise. */
const QUIET = 0.1;

function scaleByNoise(left: Float64Array, sd: readonly Float64Array[]): void {
  const known = left.filter((v) => !Number.isNaN(v)).sort();
  if (known.length === 0) return;
  const noise = Math.sqrt(percentile(known, QUIET));
  for (const list of sd) for (let p = 0; p < list.length; p++) list[p]! *= noise;
}

interface Solver {
  /** Inverse of the Gram matrix with its ridge. */
  readonly inverse: Float64Array;
  /** The inverse times the Gram matrix without it. */
  readonly response: Float64Array;
  /** Variance of each answer for noise of variance 1. */
  readonly spread: Float64Array;
}

function solverOf(blocks: readonly BlockSums[], n: number): Solver | null {
  const gram = new Float64Array(n * n);
  for (const block of blocks) for (let i = 0; i < gram.length; i++) gram[i]! += block.gram[i]!;
  const firm = Float64Array.from(gram);
  for (let i = 0; i < n; i++) firm[i * n + i]! += RIDGE * gram[i * n + i]! + 1e-12;
  const inverse = invert(firm, n);
  if (!inverse) return null;
  const response = new Float64Array(n * n);
  const spread = new Float64Array(n);
  for (let i = 0; i < n; i++) {
    const row = response.subarray(i * n, (i + 1) * n);
    for (let k = 0; k < n; k++) {
      const share = inverse[i * n + k]!;
      for (let j = 0; j < n; j++) row[j]! += share * gram[k * n + j]!;
    }
    for (let k = 0; k < n; k++) spread[i]! += row[k]! * inverse[k * n + i]!;
    spread[i] = Math.max(0, spread[i]!);
  }
  return { inverse, response, spread };
}

/** Inverse of a symmetric positive definite matrix by Cholesky factors; null where it is not definite. */
export function invert(matrix: Float64Array, n: number): Float64Array | null {
  const lower = new Float64Array(n * n);
  for (let i = 0; i < n; i++)
    for (let j = 0; j <= i; j++) {
      let sum = matrix[i * n + j]!;
      for (let k = 0; k < j; k++) sum -= lower[i * n + k]! * lower[j * n + k]!;
      if (i === j) {
        if (!(sum > 0)) return null;
        lower[i * n + i] = Math.sqrt(sum);
      } else lower[i * n + j] = sum / lower[j * n + j]!;
    }
  const out = new Float64Array(n * n);
  const column = new Float64Array(n);
  for (let c = 0; c < n; c++) {
    for (let i = 0; i < n; i++) {
      let sum = i === c ? 1 : 0;
      for (let k = 0; k < i; k++) sum -= lower[i * n + k]! * column[k]!;
      column[i] = sum / lower[i * n + i]!;
    }
    for (let i = n - 1; i >= 0; i--) {
      let sum = column[i]!;
      for (let k = i + 1; k < n; k++) sum -= lower[k * n + i]! * out[k * n + c]!;
      out[i * n + c] = sum / lower[i * n + i]!;
    }
  }
  return out;
}
