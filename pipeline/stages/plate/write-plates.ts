/** The plate stage: every height of the plan resampled once into the die frame, as a pyramid of tiles. */
import { setTimeout as sleep } from 'node:timers/promises';
import type { Affine3 } from '../../../shared/affine.ts';
import type { Brick } from '../../../shared/artefacts/brick.ts';
import type { Warp } from '../../../shared/artefacts/placement.ts';
import type { Plates } from '../../../shared/artefacts/plates.ts';
import type { PlateGrid } from '../../../shared/frames.ts';
import type { VolumeSpec } from '../../formats/volume/registry.ts';
import type { Progress } from '../../output/progress.ts';
import { plateTiles, type TileKind } from '../../output/pyramid.ts';
import { openPool } from '../../workers/pool.ts';
import { brickGreys } from './brick-plan.ts';
import { BrickWriter } from './brick-writer.ts';
import { type Portrait, PortraitJoiner } from './join-portraits.ts';
import { type PlateRuns, platePattern } from './plan-runs.ts';
import type { PlateMessage, PlateResult, PlateTask, RunPlates } from './plate-task.ts';
import type { plateWindows } from './plate-windows.ts';

export interface PlateJob {
  readonly scanId: string;
  readonly spec: VolumeSpec;
  readonly campaignFolder: string;
  readonly brokenSlices: readonly number[];
  readonly mask: Uint8Array | null;
  /** rows x columns of the plate grid, 1 where nothing may be shown; null where all may. */
  readonly hidden?: Uint8Array | null;
  readonly voxelToDieUm: Affine3;
  /** Displacements added in the die frame; null where there are none. */
  readonly warp: Warp | null;
  readonly frame: 'die' | 'scan';
  readonly grid: PlateGrid;
  readonly stepUm: number;
  readonly zUm: readonly number[];
  readonly unit: string;
  /** Robust extremes of every slice of the volume. */
  readonly sliceWindows: Parameters<typeof plateWindows>[0];
  readonly portraits: PlateTask['portraits'];
  readonly tiles: TileKind;
}

export interface PlateOutcome {
  readonly plates: Plates;
  readonly portraits: readonly Portrait[];
  readonly brick: Brick;
}

/**
 * Has all runs done and joins what they found.
 * @param runs of this job
 * @param atOnce runs under way at a time: what they found is held until it has been joined
 * @param folder where the sheets of the brick go; plates go where the runs write them, plates.json and brick.json are
 *   left to the caller
 * @throws InputFault when a slice cannot be read or the disk refuses
 */
export async function writePlates(
  job: PlateJob,
  runs: PlateRuns,
  folder: string,
  run: RunPlates,
  atOnce: number,
): Promise<PlateOutcome> {
  const { tasks, windows } = runs;
  const pixels = job.grid.width_px * job.grid.height_px;
  const brick = new BrickWriter(runs.brick, job.grid, { stepUm: job.stepUm, zUm: job.zUm }, folder);
  const joiner = new PortraitJoiner(tasks, job.portraits, pixels);
  let filled = 0;
  let next = 0;
  const lane = async (): Promise<void> => {
    while (next < tasks.length) {
      const n = next++;
      const result = await run(tasks[n]!);
      filled += result.filled;
      joiner.add(n, result.portraits);
      await brick.add(
        result.planes.map(({ plane, means }) => ({ plane, bytes: brickGreys(means, runs.brick.grey) })),
      );
    }
  };
  await Promise.all(Array.from({ length: Math.min(atOnce, tasks.length) }, lane));
  return {
    plates: {
      version: 1,
      frame: job.frame,
      grid: { ...job.grid, origin_um: [...job.grid.origin_um] },
      step_um: job.stepUm,
      z_um: [...job.zUm],
      grey: { unit: job.unit, windows: [...windows] },
      tiles: plateTiles(runs.transparent, job.tiles),
      path: platePattern(job.tiles),
      covered: filled / (pixels * job.zUm.length),
    },
    portraits: joiner.portraits(),
    brick: brick.finish(),
  };
}

export interface PlateThreads {
  /** @param folder that the plates of the run are written below, absolute */
  run(task: PlateTask, folder: string): Promise<PlateResult>;
  close(): Promise<void>;
}

/** Threads that do runs, with a bar that counts plates. */
export function openPlateThreads(
  threads: number,
  label: string,
  plates: number,
  progress: Progress,
  signal?: AbortSignal,
): PlateThreads {
  const done = new Int32Array(new SharedArrayBuffer(4));
  const pool = openPool<PlateMessage, PlateResult>(new URL('./plate-worker.ts', import.meta.url), threads);
  const bar = progress.bar(`plates ${label}`, plates, 'plates');
  const stop = new AbortController();
  const watching = watch(done, bar, stop.signal);
  return {
    run: (task, folder) => pool.run({ task, folder, done }, signal),
    async close() {
      stop.abort();
      await watching;
      bar.finish();
      await pool.close();
    },
  };
}

async function watch(done: Int32Array, bar: { advance(by: number): void }, over: AbortSignal): Promise<void> {
  let seen = 0;
  for (let last = false; ; ) {
    const now = Atomics.load(done, 0);
    if (now > seen) bar.advance(now - seen);
    seen = now;
    if (last) return;
    last = await sleep(100, false, { signal: over }).catch(() => true);
  }
}
