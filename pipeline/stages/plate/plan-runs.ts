/** How the plates of a scan are shared out: runs of neighbours, the same whoever does them and with how many threads. */
import { invert3 } from '../../../shared/affine.ts';
import { slicesNeeded } from '../../kernels/resample.ts';
import { pyramidEnding, type TileKind } from '../../output/pyramid.ts';
import { type BrickPlan, planBrick } from './brick-plan.ts';
import type { PlateTask } from './plate-task.ts';
import { type GreyWindow, plateWindows } from './plate-windows.ts';
import type { PlateJob } from './write-plates.ts';

/** Descriptor of a plate below the scan folder. */
export const platePattern = (kind: TileKind): string => `plates/{index}.${pyramidEnding(kind)}`;

/** Plates of a run: few, so that little is lost with one and many can share the work; more where tilt makes a plate
 * cross many slices, since the next run reads those again. */
const LEAST_PLATES = 16;
const MOST_PLATES = 64;

export interface PlateRuns {
  readonly tasks: readonly PlateTask[];
  readonly windows: readonly GreyWindow[];
  readonly brick: BrickPlan;
  readonly transparent: boolean;
}

export function planRuns(job: PlateJob): PlateRuns {
  const { grid, zUm, warp } = job;
  const dieToVoxel = invert3(job.voxelToDieUm);
  const windows = plateWindows(job.sliceWindows, dieToVoxel, grid, zUm);
  const brick = planBrick(grid, windows);
  const { grey, ...shape } = brick;
  // Rotated or round fields leave corners without data; an upright full field does not.
  const transparent = true;
  const nz = job.sliceWindows.length;
  const ranges = zUm.map((z) => slicesNeeded(dieToVoxel, grid, z, nz, warp));
  const crossed = Math.max(...ranges.map(([first, end]) => end - first));
  const length = Math.min(MOST_PLATES, Math.max(LEAST_PLATES, crossed));
  const tasks = splitRuns(zUm.length, Math.ceil(zUm.length / length)).map(([first, end]): PlateTask => {
    const own = ranges.slice(first, end);
    return {
      spec: job.spec,
      campaignFolder: job.campaignFolder,
      brokenSlices: job.brokenSlices,
      mask: job.mask,
      hidden: job.hidden ?? null,
      dieToVoxel,
      warp,
      grid,
      firstIndex: first,
      zUm: zUm.slice(first, end),
      slices: [Math.min(...own.map(([low]) => low)), Math.max(...own.map(([, high]) => high))],
      windows: windows.slice(first, end),
      transparent,
      pathPattern: platePattern(job.tiles),
      portraits: job.portraits.filter((p) => p.first < end && p.last >= first),
      brick: shape,
    };
  });
  return { tasks, windows, brick: { ...shape, grey }, transparent };
}

/** Half-open ranges of nearly equal length that cover `count`. */
export function splitRuns(count: number, runs: number): [number, number][] {
  const n = Math.min(count, Math.max(1, runs));
  return Array.from({ length: n }, (_, r) => [
    Math.floor((r * count) / n),
    Math.floor(((r + 1) * count) / n),
  ]);
}
