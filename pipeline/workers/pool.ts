/** A pool of threads for one kind of task, with typed messages and at most `threads` tasks under way. */
import { availableParallelism } from 'node:os';
import { Piscina } from 'piscina';

export interface TaskPool<Task, Result> {
  /** Runs one task; rejects with the task's own error. */
  run(task: Task, signal?: AbortSignal): Promise<Result>;
  close(): Promise<void>;
}

export const defaultThreads = (): number => Math.max(1, availableParallelism());

/**
 * @param module file URL of the worker module; its default export takes one task and returns its result
 */
export function openPool<Task, Result>(module: URL, threads: number): TaskPool<Task, Result> {
  const pool = new Piscina<Task, Result>({
    filename: module.href,
    minThreads: 1,
    maxThreads: threads,
    // Threads live as long as the pool: they keep files open from task to task.
    idleTimeout: Number.POSITIVE_INFINITY,
  });
  return {
    run: (task, signal) => pool.run(task, signal ? { signal } : {}),
    close: () => pool.destroy(),
  };
}
