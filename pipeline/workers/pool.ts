/** A pool of threads for one kind of task, with typed messages and at most `threads` tasks under way. */
import { availableParallelism } from 'node:os';
import type { MessagePort } from 'node:worker_threads';
import { Piscina } from 'piscina';
import { InputFault } from '../../shared/errors.ts';
import type { Answer } from './task.ts';

export interface TaskPool<Task, Result> {
  /** Runs one task; rejects with the task's own error. @param transfer what goes over to the thread instead of a copy */
  run(task: Task, signal?: AbortSignal, transfer?: readonly MessagePort[]): Promise<Result>;
  close(): Promise<void>;
}

export const defaultThreads = (): number => Math.max(1, availableParallelism());

/**
 * @param module file URL of the worker module; its default export is made by `asTask`
 */
export function openPool<Task, Result>(module: URL, threads: number): TaskPool<Task, Result> {
  const pool = new Piscina<Task, Answer<Result>>({
    filename: module.href,
    minThreads: 1,
    maxThreads: threads,
    // Threads live as long as the pool: they keep files open from task to task.
    idleTimeout: Number.POSITIVE_INFINITY,
  });
  return {
    async run(task, signal, transfer = []) {
      const answer = await pool.run(task, { transferList: [...transfer], ...(signal ? { signal } : {}) });
      if (answer.fault) throw new InputFault(answer.fault);
      return answer.result;
    },
    close: () => pool.destroy(),
  };
}
