/** How large arrays of jobs are, and what a task needs. */
import { jointMemoryMb, runMemoryMb, type SliceFacts } from '../../stages/plate/plate-memory.ts';
import type { PlateTask } from '../../stages/plate/plate-task.ts';

/** Tasks of an array: one below Slurm's default MaxArraySize of 1001. @source slurm.conf(5) */
const MOST_TASKS = 1000;
/** A task should be long beside the seconds that a scheduler and a start take: pixels of about a minute's work. */
const PIXELS_OF_A_TASK = 1e8;

/** Runs shared out to the tasks of an array, in their order. */
export function sharedOut<R extends { readonly task: PlateTask }>(runs: readonly R[]): R[][] {
  const pixels = runs.reduce((sum, { task }) => sum + pixelsOf(task), 0);
  const tasks = Math.max(1, Math.min(MOST_TASKS, runs.length, Math.ceil(pixels / PIXELS_OF_A_TASK)));
  return Array.from({ length: tasks }, (_, n) =>
    runs.slice(Math.floor((n * runs.length) / tasks), Math.floor(((n + 1) * runs.length) / tasks)),
  );
}

const pixelsOf = ({ grid, zUm }: PlateTask): number => grid.width_px * grid.height_px * zUm.length;

/** Memory of the runs: what Slurm is asked for, with a half more than is reckoned. */
export function plateMemoryMb(task: PlateTask, slice: SliceFacts): number {
  return Math.ceil(1.5 * (runMemoryMb(task, slice) + jointMemoryMb(task, 0)));
}
