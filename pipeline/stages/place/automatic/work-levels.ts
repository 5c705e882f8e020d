/** Coarser copies of a work volume, for steps that need no more. */
import { type Affine3, invert3 } from '../../../../shared/affine.ts';
import { sharedRaster } from '../../../kernels/shared-raster.ts';
import type { WorkVolume } from './work-volume.ts';

export interface WorkLevel {
  readonly work: WorkVolume;
  /** Voxel index of the finest level to voxel index of this one. */
  readonly fromFinest: Affine3;
  readonly toFinest: Affine3;
}

/** Means of blocks of voxels: `across` by `across` in plane, `deep` in depth; in shared memory. */
export function coarser(work: WorkVolume, across: number, deep: number): WorkLevel {
  if (across <= 1 && deep <= 1) return { work, ...maps(1, 1) };
  const nx = Math.floor(work.nx / across);
  const ny = Math.floor(work.ny / across);
  const nz = Math.max(1, Math.floor(work.nz / deep));
  const voxels = sharedRaster(nx * ny * nz);
  const weight = sharedRaster(nx * ny);
  for (let k = 0; k < nz * deep; k++) {
    const out = Math.floor(k / deep) * nx * ny;
    for (let j = 0; j < ny * across; j++) {
      const from = (k * work.ny + j) * work.nx;
      const to = out + Math.floor(j / across) * nx;
      for (let i = 0; i < nx * across; i++) {
        const at = to + Math.floor(i / across);
        voxels[at] = voxels[at]! + work.voxels[from + i]!;
      }
    }
  }
  const factor = 1 / (across * across * deep);
  for (let n = 0; n < voxels.length; n++) voxels[n] = voxels[n]! * factor;
  // A block counts only where all of it lies in the field.
  weight.fill(1);
  for (let j = 0; j < ny * across; j++)
    for (let i = 0; i < nx * across; i++)
      if (work.weight[j * work.nx + i] === 0)
        weight[Math.floor(j / across) * nx + Math.floor(i / across)] = 0;
  const [x, y, z] = work.voxelUm;
  return {
    work: { ...work, nx, ny, nz, voxels, weight, voxelUm: [x * across, y * across, z * deep] },
    ...maps(across, deep),
  };
}

function maps(across: number, deep: number): Pick<WorkLevel, 'fromFinest' | 'toFinest'> {
  const fromFinest = binnedFrom(across, deep);
  return { fromFinest, toFinest: invert3(fromFinest) };
}

function binnedFrom(across: number, deep: number): Affine3 {
  const off = (size: number): number => -(size - 1) / 2 / size;
  return [
    [1 / across, 0, 0, off(across)],
    [0, 1 / across, 0, off(across)],
    [0, 0, 1 / deep, off(deep)],
  ];
}
