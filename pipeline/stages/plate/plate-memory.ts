/** Memory that a run of plates takes, and how many runs fit side by side. */
import { InputFault } from '../../../shared/errors.ts';
import { slicesNeeded } from '../../kernels/resample.ts';
import type { PlateTask } from './plate-task.ts';

/** Node, the codecs and the readers, before the first voxel; and a thread beside them. Measured by `tests/bench/scale.bench.ts`. */
const BASE_MB = 350;
const THREAD_MB = 40;
/** Of a plate pixel: its value, greys of the picture in hand and of two being encoded, and the encoder's own copy. */
const PIXEL_BYTES = 4 + 3 * 2 + 8;
/** Of a plate pixel and a layer that the run has plates of: sums and counts, here and on their way to be joined. */
const LAYER_BYTES = 2 * 6;
/** In the main thread, of a plate pixel: the means of all layers, and the sums of the two that are being joined. */
const MEAN_BYTES = 4;
const JOIN_BYTES = 2 * 12;

/** What a slice takes in memory. */
export interface SliceFacts {
  readonly pixels: number;
  readonly bytesPerVoxel: number;
  readonly count: number;
}

/** Megabytes of one thread that does a run. */
export function runMemoryMb(task: PlateTask, slice: SliceFacts): number {
  const { grid, dieToVoxel, warp, zUm } = task;
  const pixels = grid.width_px * grid.height_px;
  const held = Math.max(
    ...zUm.map((z) => {
      const [first, end] = slicesNeeded(dieToVoxel, grid, z, slice.count, warp);
      return end - first;
    }),
  );
  const window = (held + 1) * slice.pixels * slice.bytesPerVoxel;
  return THREAD_MB + (window + pixels * (PIXEL_BYTES + LAYER_BYTES * task.portraits.length)) / 1e6;
}

/** Megabytes that do not depend on the number of threads. */
export function jointMemoryMb(task: PlateTask, layers: number): number {
  const pixels = task.grid.width_px * task.grid.height_px;
  return BASE_MB + (pixels * (MEAN_BYTES * layers + JOIN_BYTES)) / 1e6;
}

/**
 * Threads that may do runs at a time.
 * @param memoryMb that the build may take
 * @param insist whether the bound is the user's own word, and not a guess at what the machine has
 * @throws InputFault when the user's bound is too small for a single thread
 */
export function threadsWithin(
  tasks: readonly PlateTask[],
  layers: number,
  slice: SliceFacts,
  wanted: number,
  memoryMb: number,
  insist: boolean,
): number {
  if (tasks.length === 0) return 1;
  const each = Math.max(...tasks.map((task) => runMemoryMb(task, slice)));
  const joint = jointMemoryMb(tasks[0]!, layers);
  const fit = Math.floor((memoryMb - joint) / each);
  if (fit >= 1) return Math.min(wanted, fit);
  if (!insist) return 1;
  throw new InputFault({
    tag: 'inconsistent',
    file: '--memory',
    expected: `at least ${Math.ceil(joint + each)} MB for plates of ${tasks[0]!.grid.width_px} x ${tasks[0]!.grid.height_px} pixels`,
    found: `${Math.round(memoryMb)} MB`,
    remedy:
      'Allow more memory, or build on a larger machine (--engine slurm gives every run a task of its own).',
  });
}
