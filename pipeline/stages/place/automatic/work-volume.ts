/** A volume made fit for matching: binned in plane, slow shading off, every slice to the same contrast. */
import type { Affine3 } from '../../../../shared/affine.ts';
import type { VolumeSource } from '../../../formats/volume.ts';
import { smooth, withoutSlow } from '../../../kernels/smooth.ts';

/** Most pixels across; a larger field is binned. */
const MOST_ACROSS = 320;
/** Width of what counts as slow shading, as a share of the field. */
const SLOW_SHARE = 1 / 14;

export interface WorkVolume {
  readonly nx: number;
  readonly ny: number;
  readonly nz: number;
  /** Slice by slice, row by row; zero mean, about unit spread, 0 outside the field and in dead slices. */
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
  const voxels = new Float32Array(nx * ny * shape.nz);
  const broken = new Set(input.brokenSlices);
  const dead: number[] = [];
  for (let k = 0; k < shape.nz; k++) {
    const slice = broken.has(k) ? null : await source.read({ k: [k, k + 1] }, signal);
    const flat = slice && binned(slice, shape.nx, nx, ny, binning, weight);
    const even = flat && evened(flat, weight, smoothedWeight, nx, ny, sigma);
    if (even) voxels.set(even, k * nx * ny);
    else dead.push(k);
  }
  bridge(voxels, nx * ny, shape.nz, dead);
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

/** Shading off, then divided by the local spread; null for a slice that shows nothing. */
function evened(
  slice: Float32Array,
  weight: Float32Array,
  smoothedWeight: Float32Array,
  nx: number,
  ny: number,
  sigma: number,
): Float32Array | null {
  const fast = withoutSlow(slice, weight, smoothedWeight, nx, ny, sigma);
  const power = fast.map((v) => v * v);
  const mean = total(power) / Math.max(1, total(weight));
  if (!(mean > 0)) return null;
  smooth(power, nx, ny, sigma);
  for (let n = 0; n < fast.length; n++) {
    const local = weight[n]! > 0 ? power[n]! / Math.max(1e-6, smoothedWeight[n]!) : mean;
    // Half of the slice's own spread keeps empty corners from being blown up.
    const value = fast[n]! / Math.sqrt(0.5 * local + 0.5 * mean);
    fast[n] = Math.min(4, Math.max(-4, value));
  }
  return fast;
}

const total = (values: Float32Array): number => {
  let sum = 0;
  for (const value of values) sum += value;
  return sum;
};

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
