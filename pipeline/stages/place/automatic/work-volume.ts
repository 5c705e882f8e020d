/** A volume made fit for matching: binned in plane, slow shading off, every part of the field to the same contrast. */
import type { Affine3 } from '../../../../shared/affine.ts';
import type { VolumeSource } from '../../../formats/volume.ts';
import { sharedRaster } from '../../../kernels/shared-raster.ts';
import { smooth, withoutSlow } from '../../../kernels/smooth.ts';
import { median } from '../../../kernels/statistics.ts';

/** Most pixels across; a larger field is binned. */
const MOST_ACROSS = 320;
/** Greys farther out than this many spreads are cut off. */
const MOST = 4;
/** Width of what counts as slow shading, as a share of the field. */
const SLOW_SHARE = 1 / 14;

export interface WorkVolume {
  readonly nx: number;
  readonly ny: number;
  readonly nz: number;
  /** In shared memory. Slice by slice, row by row; zero mean, about unit spread, 0 outside the field and in dead slices. */
  readonly voxels: Float32Array;
  /** 1 inside the field of view. */
  readonly weight: Float32Array;
  /** Nominal size of a work voxel, micrometres. */
  readonly voxelUm: readonly [number, number, number];
  /** File voxels per work voxel in plane. */
  readonly binning: number;
  /** Standard deviation of the smoothing that was taken off, micrometres. */
  readonly slowUm: number;
}

export interface WorkInput {
  readonly source: VolumeSource;
  readonly voxelUm: readonly [number, number, number];
  readonly mask: Uint8Array | null;
  readonly brokenSlices: readonly number[];
}

export async function makeWorkVolume(input: WorkInput, signal?: AbortSignal): Promise<WorkVolume> {
  const { source, mask } = input;
  const shape = source.shape;
  const binning = Math.max(1, Math.ceil(Math.max(shape.nx, shape.ny) / MOST_ACROSS));
  const nx = Math.floor(shape.nx / binning);
  const ny = Math.floor(shape.ny / binning);
  const voxelUm = [input.voxelUm[0] * binning, input.voxelUm[1] * binning, input.voxelUm[2]] as const;
  const weight = binnedMask(mask, shape.nx, nx, ny, binning);
  const sigma = Math.max(3, SLOW_SHARE * Math.min(nx, ny));
  const smoothedWeight = smooth(Float32Array.from(weight), nx, ny, sigma);
  const area = nx * ny;
  const voxels = sharedRaster(area * shape.nz);
  const broken = new Set(input.brokenSlices);
  const dead: number[] = [];
  for (let k = 0; k < shape.nz; k++) {
    const slice = broken.has(k) ? null : await source.read({ k: [k, k + 1] }, signal);
    const flat = slice && binned(slice, shape.nx, nx, ny, binning, weight);
    const fast = flat && withoutSlow(flat, weight, smoothedWeight, nx, ny, sigma);
    if (fast && powerOf(fast) > 0) voxels.set(fast, k * area);
    else dead.push(k);
  }
  const spread = spreads(voxels, weight, smoothedWeight, { nx, ny, nz: shape.nz, sigma });
  for (let n = 0; n < voxels.length; ) {
    for (let p = 0; p < area; p++, n++) voxels[n] = Math.min(MOST, Math.max(-MOST, voxels[n]! / spread[p]!));
  }
  bridge(voxels, area, shape.nz, dead);
  return {
    ...{ nx, ny, nz: shape.nz, voxels, weight, voxelUm, binning },
    slowUm: sigma * Math.sqrt(voxelUm[0] * voxelUm[1]),
  };
}

/** File voxel index to work voxel index. */
export function workFromFile(binning: number): Affine3 {
  const off = -(binning - 1) / 2 / binning;
  return [
    [1 / binning, 0, 0, off],
    [0, 1 / binning, 0, off],
    [0, 0, 1, 0],
  ];
}

function binnedMask(
  mask: Uint8Array | null,
  fileNx: number,
  nx: number,
  ny: number,
  bin: number,
): Float32Array {
  const weight = new Float32Array(nx * ny).fill(1);
  if (!mask) return weight;
  for (let j = 0; j < ny * bin; j++)
    for (let i = 0; i < nx * bin; i++)
      if (mask[j * fileNx + i] === 0) weight[Math.floor(j / bin) * nx + Math.floor(i / bin)] = 0;
  return weight;
}

function binned(
  slice: ArrayLike<number>,
  fileNx: number,
  nx: number,
  ny: number,
  bin: number,
  weight: Float32Array,
): Float32Array {
  const out = new Float32Array(nx * ny);
  for (let j = 0; j < ny; j++) {
    for (let i = 0; i < nx; i++) {
      if (weight[j * nx + i] === 0) continue;
      let sum = 0;
      for (let b = 0; b < bin; b++)
        for (let a = 0; a < bin; a++) sum += slice[(j * bin + b) * fileNx + i * bin + a]!;
      out[j * nx + i] = Number.isFinite(sum) ? sum / (bin * bin) : 0;
    }
  }
  return out;
}

/** A slice counts for the spread with at most so many times the power of the middle one. */
const LOUDEST = 4;

/**
 * Spread of the greys at every place of the field, over all slices together. A spread for each slice would make the strength
 * of a layer against height follow the slices, which lie at an angle to the layers, and so bend what is measured of that angle.
 */
function spreads(
  voxels: Float32Array,
  weight: Float32Array,
  smoothedWeight: Float32Array,
  { nx, ny, nz, sigma }: { nx: number; ny: number; nz: number; sigma: number },
): Float32Array {
  const area = nx * ny;
  const own = Array.from({ length: nz }, (_, k) => powerOf(voxels.subarray(k * area, (k + 1) * area)));
  const typical = median(own.filter((power) => power > 0));
  const power = new Float32Array(area);
  let count = 0;
  for (let k = 0; k < nz; k++) {
    if (own[k] === 0) continue;
    const share = Math.min(1, (LOUDEST * typical) / own[k]!);
    for (let p = 0, n = k * area; p < area; p++, n++) power[p]! += share * voxels[n]! ** 2;
    count++;
  }
  let total = 0;
  let inside = 0;
  for (let p = 0; p < area; p++) {
    power[p]! /= Math.max(1, count);
    total += power[p]!;
    inside += weight[p]!;
  }
  const mean = total / Math.max(1, inside);
  smooth(power, nx, ny, sigma);
  // Half of the mean keeps empty corners from being blown up.
  return power.map((v, p) => {
    const local = weight[p]! > 0 ? v / Math.max(1e-6, smoothedWeight[p]!) : mean;
    return Math.sqrt(0.5 * local + 0.5 * mean) || 1;
  });
}

function powerOf(values: Float32Array): number {
  let sum = 0;
  for (const v of values) sum += v * v;
  return sum;
}

/** Dead slices take the nearest living one. */
function bridge(voxels: Float32Array, area: number, nz: number, dead: readonly number[]): void {
  const gone = new Set(dead);
  for (const k of dead) {
    for (let step = 1; step <= 3; step++) {
      const from = [k - step, k + step].find((other) => other >= 0 && other < nz && !gone.has(other));
      if (from === undefined) continue;
      voxels.copyWithin(k * area, from * area, (from + 1) * area);
      break;
    }
  }
}
