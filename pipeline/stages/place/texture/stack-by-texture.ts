/**
 * Depth to stack without a drawing: the stack is laid into the depth so that slices of one layer are alike, wires run as
 * routing layers do, vias are sparse spots, and thicknesses stay near those of the process table. Both orders of the
 * slices and both directions of the lowest routing layer are weighed against each other.
 */
import type { Process, ProcessLayer } from '../../../../shared/artefacts/process.ts';
import { percentile } from '../../../kernels/statistics.ts';
import type { ScanSlices } from '../heights/levelled-plates.ts';
import { ladderOf, layersWithin } from '../heights/levels.ts';
import { gatherTexture } from './gather-texture.ts';
import { type DepthFeatures, levelTexture } from './level-texture.ts';
import { logSum, type StackPosterior, type StackStretch, stackPosterior } from './posterior.ts';

export interface TextureStack {
  /** Probability that slice 0 lies nearest the top metal. */
  readonly topFirst: number;
  /** Probability of each layer at each slice of the file, both orders together; [layer][slice]. */
  readonly at: readonly Float64Array[];
  /** Faces of each layer in slices of the file, under the likelier order: nearest silicon first. */
  readonly faces: readonly {
    readonly bottom: number;
    readonly top: number;
    readonly bottomSd: number;
    readonly topSd: number;
  }[];
  /** Rise of the layers against the slices, slices per voxel along i and j. */
  readonly tilt: readonly [number, number];
}

const THICKNESS_SD = 0.07;
const SCALE_SD = 0.04;
const THICKNESS_MOST = 0.25;
/** Slices near each other tell the same: evidence counts per so many. */
const SHARED = 3;
/** Weight of a slice that its layer's common pattern does not explain. */
const UNLIKE = 3;
/** Weights of what tells vias from conductors, and of the direction of wires. */
const ROLE = 0.5;
const DIRECTION = 0.8;
/** Bins of the thickest layer, at most. */
const MOST_BINS = 60;

/** @param stepUm distance of the slices @param voxelUm width of a voxel */
export async function stackByTexture(
  scan: ScanSlices,
  process: Process,
  stepUm: number,
  voxelUm: number,
  order: 'auto' | 'top-first' | 'bottom-first',
): Promise<TextureStack | null> {
  const ladder = ladderOf(process.layers);
  const heights = ladder.nominalUm.slice(1).map((z, n) => z - ladder.nominalUm[n]!);
  const thickest = Math.max(...heights) / stepUm;
  const bin = Math.max(1, Math.ceil(thickest / MOST_BINS));
  if (scan.nz < 8 * bin) return null;
  const lags = Math.ceil(((1 + THICKNESS_MOST) * thickest) / bin) + 2;
  const texture = await gatherTexture(scan, bin, lags);
  if (texture.blocks.length === 0) return null;
  const features = levelTexture(texture, (bin * stepUm) / voxelUm);
  const trials = (['top-first', 'bottom-first'] as const)
    .filter((o) => order === 'auto' || o === order)
    .flatMap((o) => [1, -1].map((parity) => trial(o, parity, process, features, bin * stepUm)));
  const evidence = logSum(trials.map((t) => t.posterior.evidence));
  const weight = (t: Trial): number => Math.exp(t.posterior.evidence - evidence);
  const topFirst = trials.reduce((sum, t) => sum + (t.order === 'top-first' ? weight(t) : 0), 0);
  const best = trials.reduce((a, b) => (b.posterior.evidence > a.posterior.evidence ? b : a));
  const bins = features.nz;
  const at = process.layers.map((_, layer) => {
    const out = new Float64Array(scan.nz);
    for (let k = 0; k < scan.nz; k++) {
      const cell = Math.min(bins - 1, Math.floor(k / bin));
      for (const t of trials) {
        const upward = t.order === 'top-first' ? bins - 1 - cell : cell;
        // A layer is where any of its stretches is; they exclude each other.
        let here = 0;
        t.posterior.at.forEach((list, n) => {
          if (ladder.bottom[layer]! <= n && ladder.top[layer]! > n) here += list[upward]!;
        });
        out[k]! += weight(t) * here;
      }
    }
    return out;
  });
  const slice = (cell: number): number => (best.order === 'top-first' ? bins - cell : cell) * bin - 0.5;
  const { mean, sd } = best.posterior;
  const faces = process.layers.map((_, l) => ({
    ...{ bottom: slice(mean[ladder.bottom[l]!]!), top: slice(mean[ladder.top[l]!]!) },
    ...{ bottomSd: sd[ladder.bottom[l]!]! * bin, topSd: sd[ladder.top[l]!]! * bin },
  }));
  return { topFirst, at, faces, tilt: [features.tilt[0] * bin, features.tilt[1] * bin] };
}

interface Trial {
  readonly order: 'top-first' | 'bottom-first';
  readonly posterior: StackPosterior;
}

function trial(
  order: Trial['order'],
  parity: number,
  process: Process,
  features: DepthFeatures,
  binUm: number,
): Trial {
  const { nz, lags } = features;
  const upward = (cell: number): number => (order === 'top-first' ? nz - 1 - cell : cell);
  const alike = (a: number, b: number): number => {
    const [p, q] = [upward(a), upward(b)];
    return features.alike[Math.min(p, q) * lags + Math.abs(p - q)]!;
  };
  const unlike = unlikeSums(nz, lags, alike);
  const structure = new Float64Array(nz + 1);
  for (let k = 0; k < nz; k++) structure[k + 1] = structure[k]! + alike(k, k);
  const outside = (begin: number, end: number): number =>
    (-UNLIKE * (structure[end]! - structure[begin]!)) / SHARED;
  const ladder = ladderOf(process.layers);
  const conductors = [...process.layers]
    .filter((l) => l.role === 'conductor')
    .sort((a, b) => a.bottom_um - b.bottom_um);
  const stretches = ladder.nominalUm.slice(1).map((high, n): StackStretch => {
    const expected = (high - ladder.nominalUm[n]!) / binUm;
    const within = layersWithin(ladder, n).map((l) => process.layers[l]!);
    const cells = cellSums(within, conductors, parity, features, upward);
    return {
      expected,
      sd: Math.hypot(THICKNESS_SD, SCALE_SD) * expected + 0.5,
      least: Math.max(0, Math.floor((1 - THICKNESS_MOST) * expected)),
      most: Math.max(1, Math.ceil((1 + THICKNESS_MOST) * expected)),
      weigh: (begin, end) =>
        end <= begin
          ? 0
          : within.length === 0
            ? outside(begin, end)
            : (cells[end]! - cells[begin]! - UNLIKE * unlike(begin, end)) / SHARED,
    };
  });
  const total = (ladder.nominalUm.at(-1)! - ladder.nominalUm[0]!) / binUm;
  const beyond = Math.ceil(1.15 * total);
  // Where the stack begins is not known at all.
  const posterior = stackPosterior(stretches, nz, beyond, outside, () => 0);
  return { order, posterior };
}

/** What the common pattern of cells leaves unexplained: their structure less that of their mean. */
function unlikeSums(
  nz: number,
  lags: number,
  alike: (a: number, b: number) => number,
): (begin: number, end: number) => number {
  const longest = Math.min(nz, lags);
  // squares[begin * (longest + 1) + length]: sum of alike over all pairs of the cells.
  const squares = new Float64Array(nz * (longest + 1));
  const diagonal = new Float64Array(nz + 1);
  for (let k = 0; k < nz; k++) diagonal[k + 1] = diagonal[k]! + alike(k, k);
  for (let begin = 0; begin < nz; begin++)
    for (let length = 1; length <= Math.min(longest, nz - begin); length++) {
      const last = begin + length - 1;
      let sum = alike(last, last);
      for (let k = begin; k < last; k++) sum += 2 * alike(k, last);
      squares[begin * (longest + 1) + length] = squares[begin * (longest + 1) + length - 1]! + sum;
    }
  return (begin, end) => {
    const length = Math.min(longest, end - begin);
    const whole = diagonal[end]! - diagonal[begin]!;
    return Math.max(0, whole - squares[begin * (longest + 1) + length]! / length);
  };
}

/** Sums over cells of the logarithm of the likelihood of what they look like in these layers, against others. */
function cellSums(
  within: readonly ProcessLayer[],
  conductors: readonly ProcessLayer[],
  parity: number,
  features: DepthFeatures,
  upward: (cell: number) => number,
): Float64Array {
  const { nz, lags, alike, direction, skew } = features;
  const sums = new Float64Array(nz + 1);
  const via = within.some((l) => l.role === 'via');
  const conductor = within.findLast((l) => l.role === 'conductor');
  const number = conductor ? conductors.indexOf(conductor) : -1;
  // Gates and the lowest metal run both ways inside cells; routing begins above.
  const routes = number >= 2 ? parity * (number % 2 === 0 ? 1 : -1) : 0;
  const structured = [...skew.keys()].filter((k) => alike[k * lags]! > 0.3).map((k) => Math.max(0, skew[k]!));
  const usual = structured.length > 0 ? percentile(Float64Array.from(structured).sort(), 0.5) : 0;
  for (let cell = 0; cell < nz; cell++) {
    const k = upward(cell);
    const sure = Math.max(0, alike[k * lags]!);
    const spots = limited(Math.log((Math.max(0, skew[k]!) + 0.1) / (usual + 0.1)), 1.5);
    const round = limited(Math.log(0.12 / (Math.abs(direction[k]!) + 0.02)), 1.5);
    const role = via === (conductor !== undefined) ? 0 : via ? 1 : -1;
    const weight = role * ROLE * (spots + round) + routes * DIRECTION * limited(5 * direction[k]!, 1.5);
    sums[cell + 1] = sums[cell]! + sure * weight;
  }
  return sums;
}

const limited = (v: number, most: number): number => Math.max(-most, Math.min(most, v));
