/** The plates of one volume as steps: each run of plates is kept by itself, by the content of the slices it draws on. */
import { readFile, writeFile } from 'node:fs/promises';
import { totalmem } from 'node:os';
import { join } from 'node:path';
import type { Brick } from '../../shared/artefacts/brick.ts';
import type { Plates } from '../../shared/artefacts/plates.ts';
import { contentKey } from '../engine/content-key.ts';

import type { StoredStep } from '../engine/step-store.ts';
import type { Progress } from '../output/progress.ts';
import type { Portrait } from '../stages/plate/join-portraits.ts';
import { planRuns } from '../stages/plate/plan-runs.ts';
import { type SliceFacts, threadsWithin } from '../stages/plate/plate-memory.ts';
import type { PlateResult, PlateTask } from '../stages/plate/plate-task.ts';
import {
  openPlateThreads,
  type PlateJob,
  type PlateThreads,
  writePlates,
} from '../stages/plate/write-plates.ts';
import { type BuildSteps, lazily } from './steps.ts';

export interface PlateSteps {
  readonly plates: Plates;
  readonly brick: Brick;
  /** Key of the portraits' values. */
  readonly portraitsKey: string;
  portraits(): Promise<readonly Portrait[]>;
}

export interface PlateLimits {
  readonly threads: number;
  /** Of the whole build; null where the user gave no bound. */
  readonly memoryMb: number | null;
  readonly slice: SliceFacts;
}

/** Share of the machine's memory that plates may take where nobody said. */
const SHARE_OF_MACHINE = 0.6;

/** Of a volume: the key of all of it, and where slices can be told apart a checksum of each. */
export interface SliceContent {
  readonly reading: unknown;
  readonly key: string;
  readonly slices: readonly string[] | null;
}

interface Joined {
  readonly plates: Plates;
  readonly brick: Brick;
  readonly portraits: readonly Omit<Portrait, 'values'>[];
  readonly portraitsKey: string;
}

export const PLATE_WORKER = 'pipeline/stages/plate/plate-worker.ts';
const PLATE_STAGE = 'pipeline/stages/plate/write-plates.ts';

/**
 * @param content of the volume; null where it cannot be told, and all is done anew
 * @param folder absolute, of the scan in the staging folder
 */
export async function plateSteps(
  steps: BuildSteps,
  job: PlateJob,
  content: SliceContent | null,
  folder: string,
  limits: PlateLimits,
  progress: Progress,
  signal?: AbortSignal,
): Promise<PlateSteps> {
  const runs = planRuns(job);
  const { store } = steps;
  const keys = runKeys(steps, runs.tasks, content);
  const joinedKey = steps.key({
    code: [PLATE_STAGE, 'pipeline/run/plate-steps.ts'],
    input: [[...keys.values()], runs.brick, runs.windows, job.frame, job.stepUm, job.unit, job.portraits],
  });
  const found = await Promise.all(runs.tasks.map((task) => store.find<PlateResult>(RUN, keys.get(task)!)));
  const done = new Map(runs.tasks.map((task, n) => [task, found[n] ?? null] as const));
  let joined = found.every((run) => run !== null) ? await store.find<Joined>('plates', joinedKey) : null;
  let fresh: readonly Portrait[] | null = null;
  if (!joined) {
    const left = runs.tasks.filter((task) => !done.get(task));
    const plates = left.reduce((sum, task) => sum + task.zUm.length, 0);
    const memoryMb = limits.memoryMb ?? (SHARE_OF_MACHINE * totalmem()) / 1e6;
    const threads = threadsWithin(
      ...([left, job.portraits.length, limits.slice, limits.threads, memoryMb] as const),
      limits.memoryMb !== null,
    );
    let pool: PlateThreads | null = null;
    const open = () => (pool ??= openPlateThreads(threads, job.scanId, plates, progress, signal));
    const run = async (task: PlateTask): Promise<PlateResult> => {
      signal?.throwIfAborted();
      const kept = done.get(task);
      if (kept) return kept.value();
      let result: PlateResult | null = null;
      const step = await store.make(RUN, keys.get(task)!, async ({ files }) => {
        result = await open().run(task, files);
        return result;
      });
      done.set(task, step);
      return result!;
    };
    try {
      joined = await store.make('plates', joinedKey, async ({ files, aside }): Promise<Joined> => {
        // One run more than threads: the next is waiting when a thread is free.
        const { portraits, ...rest } = await writePlates(job, runs, files, run, threads + 1);
        for (const { name, values } of portraits) await writeFile(join(aside, `${name}.f32`), values);
        fresh = portraits;
        return {
          ...rest,
          portraits: portraits.map(({ values, ...portrait }) => portrait),
          portraitsKey: contentKey(portraits),
        };
      });
    } finally {
      await (pool as PlateThreads | null)?.close();
    }
  }
  for (const step of [...done.values(), joined]) await steps.place(step as StoredStep<unknown>, folder);
  const { plates, brick, portraits, portraitsKey } = await joined.value();
  const place = joined;
  return {
    ...{ plates, brick, portraitsKey },
    portraits: lazily(
      async () =>
        fresh ??
        Promise.all(
          portraits.map(async (p) => ({ ...p, values: await readFloats(place.aside(`${p.name}.f32`)) })),
        ),
    ),
  };
}

export const RUN = 'plate-run';

/** Keys of runs, by run. */
export const runKeys = (
  steps: BuildSteps,
  tasks: readonly PlateTask[],
  content: SliceContent | null,
): ReadonlyMap<PlateTask, string> => new Map(tasks.map((task) => [task, runKey(steps, task, content)]));

/** Everything that a run depends on, with the content of the slices it reads in place of their files. */
function runKey(steps: BuildSteps, task: PlateTask, content: SliceContent | null): string {
  const { spec, campaignFolder, slices, brokenSlices, ...input } = task;
  const volume = content && contentOf(content, slices, brokenSlices);
  return steps.key({ code: [PLATE_WORKER], input: { ...input, slices, volume: volume ?? Math.random() } });
}

/** A broken slice is bridged by the nearest good ones, which may lie outside the range. */
function contentOf(
  content: SliceContent,
  [first, end]: readonly [number, number],
  brokenSlices: readonly number[],
): unknown {
  if (!content.slices) return { key: content.key, broken: brokenSlices };
  const broken = new Set(brokenSlices);
  let low = first;
  let high = end - 1;
  while (low > 0 && broken.has(low)) low--;
  while (high < content.slices.length - 1 && broken.has(high)) high++;
  return {
    ...{
      reading: content.reading,
      count: content.slices.length,
      slices: content.slices.slice(low, high + 1),
    },
    broken: brokenSlices.filter((k) => k >= low && k <= high),
  };
}

async function readFloats(path: string): Promise<Float32Array> {
  const bytes = await readFile(path);
  return new Float32Array(bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.length));
}
