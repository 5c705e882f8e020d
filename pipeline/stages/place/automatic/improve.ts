/** Places of the search made better one by one, in threads where there are some; the outcome is the same either way. */
import { MessageChannel } from 'node:worker_threads';
import { type Affine3, compose3 } from '../../../../shared/affine.ts';
import type { PlateGrid } from '../../../../shared/frames.ts';
import { openPool } from '../../../workers/pool.ts';
import type { Drawing } from './die-view.ts';
import type { ImproveTask } from './improve-task.ts';
import type { Hypothesis } from './orientation.ts';
import { type Refined, type RefineRound, refine } from './refine.ts';
import type { WorkLevel } from './work-levels.ts';

/** A place that was refined from a hypothesis of the search. */
export interface Candidate {
  readonly hypothesis: Hypothesis;
  /** Map from the finest level. */
  readonly workToDie: Affine3;
  readonly refined: Refined;
}

export interface Start {
  readonly hypothesis: Hypothesis;
  /** Map from the finest level. */
  readonly start: Affine3;
}

export interface Improvers {
  /** In the order of the starts. */
  improve(
    level: WorkLevel,
    starts: readonly Start[],
    drawing: Drawing,
    rounds: readonly RefineRound[],
  ): Promise<Candidate[]>;
  close(): Promise<void>;
}

/** Each holds views of the whole scan, some hundred megabytes. */
const MOST_THREADS = 2;

export function openImprovers(wanted: number, pause: () => Promise<void>, signal?: AbortSignal): Improvers {
  const threads = Math.min(wanted, MOST_THREADS);
  const pool =
    threads > 1
      ? openPool<ImproveTask, Refined>(new URL('./improve-worker.ts', import.meta.url), threads)
      : null;
  const refined = async (
    level: WorkLevel,
    { hypothesis, start }: Start,
    drawing: Drawing,
    rounds: readonly RefineRound[],
  ): Promise<Refined> => {
    const map = compose3(start, level.toFinest);
    if (!pool) return refine(level.work, map, hypothesis.sign, drawing, rounds, pause);
    // The layout stays in this thread: the other one asks for the pictures that it needs.
    const { port1, port2 } = new MessageChannel();
    let fault: unknown = null;
    port1.on('message', (plate: PlateGrid) => {
      try {
        port1.postMessage(drawing.pictures(plate));
      } catch (error) {
        fault = error;
        port1.postMessage(null);
      }
    });
    const task: ImproveTask = {
      ...{ work: level.work, start: map, sign: hypothesis.sign, rounds, port: port2 },
      ...{ pixelUm: drawing.pixelUm, snapUm: drawing.snapUm },
    };
    try {
      return await pool.run(task, signal, [port2]);
    } catch (error) {
      throw fault ?? error;
    } finally {
      port1.close();
    }
  };
  return {
    improve: (level, starts, drawing, rounds) =>
      inTurn(starts, pool ? threads + 1 : 1, async (from) => {
        await pause();
        const found = await refined(level, from, drawing, rounds);
        return {
          hypothesis: from.hypothesis,
          workToDie: compose3(found.workToDie, level.fromFinest),
          refined: found,
        };
      }),
    close: async () => pool?.close(),
  };
}

/** At most so many at a time, so that few tasks wait with what they hold. */
async function inTurn<T, R>(list: readonly T[], most: number, work: (one: T) => Promise<R>): Promise<R[]> {
  const out: R[] = [];
  let next = 0;
  const run = async (): Promise<void> => {
    while (next < list.length) {
      const n = next++;
      out[n] = await work(list[n]!);
    }
  };
  await Promise.all(Array.from({ length: Math.min(most, list.length) }, run));
  return out;
}
