/** Single plates round one layer, read again from the volume: a portrait alone cannot be split into halves. */
import { type Affine3, invert3 } from '../../../shared/affine.ts';
import type { PlateGrid } from '../../../shared/frames.ts';
import { openVolume, type VolumeSpec } from '../../formats/volume/registry.ts';
import type { VoxelArray } from '../../formats/volume.ts';
import type { HeldSlice } from '../../kernels/cubic-sums.ts';
import { cubicSums, resamplePlate, slicesNeeded } from '../../kernels/resample.ts';

export interface BlockSource {
  readonly spec: VolumeSpec;
  readonly voxelToDieUm: Affine3;
  readonly brokenSlices: readonly number[];
  readonly mask: Uint8Array | null;
  /** Name of a file in a fault. */
  readonly nameOf: (file: string) => string;
  readonly signal?: AbortSignal;
}

export interface ScanBlock {
  readonly grid: PlateGrid;
  readonly zUm: readonly number[];
  /** One image per height, width x height of the grid. */
  readonly plates: readonly Float32Array[];
}

/** Voxels of a block at the most, and its least side: enough edges for a mean, little enough to read and hold. */
const MOST_VOXELS = 4e6;
const LEAST_PX = 192;

/** The middle of a plate grid, square where it must be cut. */
export function middleOf(grid: PlateGrid, plates: number, mostVoxels = MOST_VOXELS): PlateGrid {
  const side = Math.max(LEAST_PX, Math.floor(Math.sqrt(mostVoxels / plates)));
  const width_px = Math.min(grid.width_px, side);
  const height_px = Math.min(grid.height_px, side);
  const left = Math.floor((grid.width_px - width_px) / 2);
  const top = Math.floor((grid.height_px - height_px) / 2);
  return {
    origin_um: [grid.origin_um[0] + left * grid.pixel_um, grid.origin_um[1] - top * grid.pixel_um],
    pixel_um: grid.pixel_um,
    width_px,
    height_px,
  };
}

/** @throws InputFault when a slice cannot be read */
export async function readBlock(
  source: BlockSource,
  whole: PlateGrid,
  zUm: readonly number[],
  mostVoxels?: number,
): Promise<ScanBlock> {
  const grid = middleOf(whole, zUm.length, mostVoxels);
  const dieToVoxel = invert3(source.voxelToDieUm);
  const volume = await openVolume(source.spec, { nameOf: source.nameOf });
  try {
    const { nx, ny, nz } = volume.shape;
    const broken = new Set(source.brokenSlices);
    const { mask } = source;
    const ranges = zUm.map((z) => slicesNeeded(dieToVoxel, grid, z, nz));
    const slots = Math.max(1, ...ranges.map(([first, end]) => end - first));
    const sums = cubicSums({ type: volume.type, nx, ny, nz, mask }, slots, grid.width_px);
    const held = new Map<number, VoxelArray>();
    const plates: Float32Array[] = [];
    for (const [n, z] of zUm.entries()) {
      const [first, end] = ranges[n]!;
      for (const [k, slice] of held) {
        if (k >= first && k < end) continue;
        held.delete(k);
        sums?.release(slice as HeldSlice);
      }
      for (let k = first; k < end; k++) {
        if (held.has(k)) continue;
        // A broken slice is stood in for by the nearest good one.
        let good = k;
        for (let d = 1; broken.has(good) && d < nz; d++)
          good = [k - d, k + d].find((n) => n >= 0 && n < nz && !broken.has(n)) ?? good;
        const slice = held.get(good) ?? (await volume.read({ k: [good, good + 1] }, source.signal));
        held.set(k, sums?.hold(slice) ?? slice);
      }
      const out = new Float32Array(grid.width_px * grid.height_px);
      const slice = (k: number) => held.get(k)!;
      resamplePlate({ nx, ny, nz, slice, mask, sums }, dieToVoxel, grid, z, out);
      plates.push(out);
    }
    return { grid, zUm, plates };
  } finally {
    await volume.close();
  }
}
