/** Those who do the tasks of a comparison: threads, or this one. */
import { openPool } from '../../workers/pool.ts';
import { type CompareResult, type CompareTask, runTask, type Tasks } from './compare-task.ts';

export interface Crew {
  /** How many tasks are worth handing out at a time. */
  readonly threads: number;
  do<What extends keyof Tasks>(what: What, task: Tasks[What]['task']): Promise<Tasks[What]['result']>;
  close(): Promise<void>;
}

/** Each holds models of its layers and blurs of their neighbours: with more, memory grows and little time is won. */
const MOST_THREADS = 4;

/** @param wanted threads; 1: everything is done in the caller's thread. Results are the same for any number. */
export function openCrew(wanted: number, signal?: AbortSignal): Crew {
  const threads = Math.min(wanted, MOST_THREADS);
  const pool =
    threads > 1
      ? openPool<CompareTask, CompareResult>(new URL('./compare-worker.ts', import.meta.url), threads)
      : null;
  return {
    threads,
    async do(what, task) {
      const whole = { what, ...task } as CompareTask;
      signal?.throwIfAborted();
      return (pool ? await pool.run(whole, signal) : runTask(whole)) as Tasks[typeof what]['result'];
    },
    close: async () => pool?.close(),
  };
}
