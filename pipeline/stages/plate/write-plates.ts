/** The plate stage: every height of the plan resampled once into the die frame, as a pyramid of tiles. */
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { type Affine3, invert3 } from '../../../shared/affine.ts';
import type { Brick } from '../../../shared/artefacts/brick.ts';
import type { Warp } from '../../../shared/artefacts/placement.ts';
import type { Plates } from '../../../shared/artefacts/plates.ts';
import type { PlateGrid } from '../../../shared/frames.ts';
import type { VolumeSpec } from '../../formats/volume/registry.ts';
import type { Progress } from '../../output/progress.ts';
import { plateTiles } from '../../output/pyramid.ts';
import { openPool } from '../../workers/pool.ts';
import { planBrick } from './brick-plan.ts';
import { BrickWriter } from './brick-writer.ts';
import type { PlateResult, PlateTask } from './plate-task.ts';
import { plateWindows } from './plate-windows.ts';

/** Descriptor of a plate below the scan folder. */
export const PLATE_PATH = 'plates/{index}.dzi';

export interface PlateJob {
  readonly scanId: string;
  readonly spec: VolumeSpec;
  readonly campaignFolder: string;
  readonly brokenSlices: readonly number[];
  readonly mask: Uint8Array | null;
  /** rows x columns of the plate grid, 1 where nothing may be shown; null where all may. In shared memory. */
  readonly hidden?: Uint8Array | null;
  readonly voxelToDieUm: Affine3;
  /** Displacements added in the die frame; null where there are none. */
  readonly warp: Warp | null;
  readonly frame: 'die' | 'scan';
  readonly grid: PlateGrid;
  readonly stepUm: number;
  readonly zUm: readonly number[];
  readonly unit: string;
  readonly sliceWindows: Parameters<typeof plateWindows>[0];
  readonly portraits: PlateTask['portraits'];
}

/** Mean image of a layer over its plates, NaN where there is no data, on the plate grid. */
export interface Portrait {
  readonly name: string;
  readonly first: number;
  readonly last: number;
  readonly values: Float32Array;
}

export interface PlateOutcome {
  readonly plates: Plates;
  readonly portraits: readonly Portrait[];
  readonly brick: Brick;
}

/** Runs per thread: enough to even out the ends, few enough that windows of slices are seldom loaded twice. */
const RUNS_PER_THREAD = 2;

/**
 * @param folder where the scan's data go; plates.json and brick.json are left to the caller
 * @throws InputFault when a slice cannot be read or the disk refuses
 */
export async function writePlates(
  job: PlateJob,
  folder: string,
  threads: number,
  progress: Progress,
  signal?: AbortSignal,
): Promise<PlateOutcome> {
  const pixels = job.grid.width_px * job.grid.height_px;
  const done = new Int32Array(new SharedArrayBuffer(4));
  // Rotated or round fields leave corners without data; an upright full field does not.
  const transparent = true;
  const dieToVoxel = invert3(job.voxelToDieUm);
  const windows = plateWindows(job.sliceWindows, dieToVoxel, job.grid, job.zUm);
  const small = planBrick(job.grid, windows);
  const brick = new BrickWriter(small, job.grid, { stepUm: job.stepUm, zUm: job.zUm }, folder);
  const tasks = splitRuns(job.zUm.length, threads * RUNS_PER_THREAD).map(
    ([first, end]): PlateTask => ({
      spec: job.spec,
      campaignFolder: job.campaignFolder,
      brokenSlices: job.brokenSlices,
      mask: job.mask && shared(job.mask),
      hidden: job.hidden ?? null,
      dieToVoxel,
      warp: job.warp,
      grid: job.grid,
      firstIndex: first,
      zUm: job.zUm.slice(first, end),
      windows: windows.slice(first, end),
      transparent,
      pathPattern: join(folder, PLATE_PATH),
      portraits: job.portraits.filter((p) => p.first < end && p.last >= first),
      brick: small,
      done,
    }),
  );
  const pool = openPool<PlateTask, PlateResult>(new URL('./plate-worker.ts', import.meta.url), threads);
  const bar = progress.bar(`plates ${job.scanId}`, job.zUm.length, 'plates');
  try {
    const run = async (task: PlateTask): Promise<Omit<PlateResult, 'planes'>> => {
      const { planes, ...result } = await pool.run(task, signal);
      await brick.add(planes);
      return result;
    };
    const results = await watched(Promise.all(tasks.map(run)), done, bar);
    bar.finish(`${job.grid.width_px} x ${job.grid.height_px} px`);
    const filled = results.reduce((sum, r) => sum + r.filled, 0);
    return {
      plates: {
        version: 1,
        frame: job.frame,
        grid: { ...job.grid, origin_um: [...job.grid.origin_um] },
        step_um: job.stepUm,
        z_um: [...job.zUm],
        grey: { unit: job.unit, windows },
        tiles: plateTiles(transparent),
        path: PLATE_PATH,
        covered: filled / (pixels * job.zUm.length),
      },
      portraits: job.portraits.map((p) => joinPortrait(p, results, pixels)),
      brick: brick.finish(),
    };
  } finally {
    await pool.close();
  }
}

/** Half-open ranges of nearly equal length that cover `count`. */
export function splitRuns(count: number, runs: number): [number, number][] {
  const n = Math.min(count, Math.max(1, runs));
  return Array.from({ length: n }, (_, r) => [
    Math.floor((r * count) / n),
    Math.floor(((r + 1) * count) / n),
  ]);
}

function shared(mask: Uint8Array): Uint8Array {
  const copy = new Uint8Array(new SharedArrayBuffer(mask.length));
  copy.set(mask);
  return copy;
}

async function watched<T>(
  work: Promise<T>,
  done: Int32Array,
  bar: { advance(by: number): void },
): Promise<T> {
  let seen = 0;
  let over = false;
  const settle = () => {
    over = true;
  };
  work.then(settle, settle);
  while (!over) {
    await Promise.race([work.catch(() => {}), sleep(100)]);
    const now = Atomics.load(done, 0);
    if (now > seen) bar.advance(now - seen);
    seen = now;
  }
  return work;
}

function joinPortrait(
  range: PlateTask['portraits'][number],
  results: readonly Pick<PlateResult, 'portraits'>[],
  pixels: number,
): Portrait {
  const sum = new Float64Array(pixels);
  const count = new Uint32Array(pixels);
  for (const part of results.flatMap((r) => r.portraits)) {
    if (part.name !== range.name) continue;
    for (let n = 0; n < pixels; n++) {
      sum[n]! += part.sum[n]!;
      count[n]! += part.count[n]!;
    }
  }
  const values = new Float32Array(pixels);
  for (let n = 0; n < pixels; n++) values[n] = count[n]! > 0 ? sum[n]! / count[n]! : Number.NaN;
  return { name: range.name, first: range.first, last: range.last, values };
}
