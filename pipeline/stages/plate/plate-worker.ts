/** Thread of the plate stage: reads slices as they are needed, resamples plates, writes their pyramids. */
import { join, relative } from 'node:path';
import sharp from 'sharp';
import { platePath } from '../../../shared/plate-path.ts';
import { openVolume } from '../../formats/volume/registry.ts';
import type { VolumeSource } from '../../formats/volume.ts';
import type { CubicSums } from '../../kernels/cubic-sums.ts';
import { cubicSums, resamplePlate, slicesNeeded } from '../../kernels/resample.ts';
import { isPacked, writePyramid } from '../../output/pyramid.ts';
import { asTask } from '../../workers/task.ts';
import { brickMeans } from './brick-plan.ts';
import { greyPicture, greyPlanes } from './grey.ts';
import type { PlateMessage, PlateResult, PlateTask, PortraitPart } from './plate-task.ts';
import { SliceWindow } from './slice-window.ts';

// Each thread of ours is one of a pair; more threads below it would only take turns.
sharp.concurrency(1);
sharp.cache(false);

/** Pyramids being encoded while the next plate is resampled. */
const IN_FLIGHT = 2;

/** Memory for slices, kept from run to run of this thread: a new one each time would be there twice for a while. */
let kept: CubicSums | null = null;

function sumsFor(task: PlateTask, source: VolumeSource): CubicSums | null {
  const { grid, dieToVoxel, mask, warp } = task;
  const shape = { type: source.type, ...source.shape, mask };
  const ranges = task.zUm.map((z) => slicesNeeded(dieToVoxel, grid, z, shape.nz, warp));
  const slots = Math.max(1, ...ranges.map(([first, end]) => end - first));
  if (!kept?.reuse(shape, slots, grid.width_px)) {
    kept = null;
    // One more: runs differ by as much.
    kept = cubicSums(shape, slots + 1, grid.width_px);
  }
  return kept;
}

export default asTask(({ task, folder, done }: PlateMessage) =>
  doRun(task, folder, () => Atomics.add(done, 0, 1)),
);

/**
 * Resamples and writes the plates of a run below a folder.
 * @param onPlate called for each plate that is on the disk
 * @throws InputFault when a slice cannot be read or the disk refuses
 */
export async function doRun(task: PlateTask, folder: string, onPlate: () => void): Promise<PlateResult> {
  const source = await openVolume(task.spec, { nameOf: (file) => relative(task.campaignFolder, file) });
  try {
    return await plates(task, source, folder, onPlate);
  } finally {
    await source.close();
  }
}

async function plates(
  task: PlateTask,
  source: VolumeSource,
  folder: string,
  onPlate: () => void,
): Promise<PlateResult> {
  const { grid, dieToVoxel, mask, warp } = task;
  const { nx, ny, nz } = source.shape;
  const pixels = grid.width_px * grid.height_px;
  const sums = sumsFor(task, source);
  const window = new SliceWindow(source, task.brokenSlices, sums);
  const portraits = new Map<string, PortraitPart>();
  const planes: { plane: number; means: Float32Array }[] = [];
  const writing: Promise<void>[] = [];
  const values = new Float32Array(pixels);
  let filled = 0;
  for (let n = 0; n < task.zUm.length; n++) {
    const index = task.firstIndex + n;
    const zUm = task.zUm[n]!;
    await window.moveTo(...slicesNeeded(dieToVoxel, grid, zUm, nz, warp));
    const slices = { nx, ny, nz, mask, sums, slice: window.slice };
    filled += resamplePlate(slices, dieToVoxel, grid, zUm, values, warp);
    if (task.hidden) filled -= hide(values, task.hidden);
    for (const layer of task.portraits) {
      if (index < layer.first || index > layer.last) continue;
      let part = portraits.get(layer.name);
      if (!part) {
        part = emptyPart(layer.name, pixels);
        portraits.set(layer.name, part);
      }
      accumulate(part, values);
    }
    const { every } = task.brick;
    if (index % every === 0)
      planes.push({ plane: index / every, means: brickMeans(values, grid, task.brick) });
    const { black, white } = task.windows[n]!;
    const path = join(folder, platePath(task.pathPattern, index));
    const plane = [values, grid.width_px, grid.height_px, black, white] as const;
    const picture = isPacked(path) ? greyPlanes(...plane) : greyPicture(...plane, task.transparent);
    const written = writePyramid(path, picture, 'lossy').then(onPlate);
    // Marked as handled here; a failure is thrown where it is awaited.
    written.catch(() => {});
    writing.push(written);
    if (writing.length >= IN_FLIGHT) await writing.shift();
  }
  await Promise.all(writing);
  return { filled, portraits: [...portraits.values()], planes };
}

/** Takes out what may not be shown, before anything is made of the plate. @returns pixels that had data */
function hide(values: Float32Array, hidden: Uint8Array): number {
  let taken = 0;
  for (let n = 0; n < values.length; n++) {
    if (hidden[n] === 0) continue;
    if (!Number.isNaN(values[n])) taken++;
    values[n] = Number.NaN;
  }
  return taken;
}

const emptyPart = (name: string, pixels: number): PortraitPart => ({
  name,
  sum: new Float32Array(pixels),
  count: new Uint16Array(pixels),
});

function accumulate(part: PortraitPart, values: Float32Array): void {
  const { sum, count } = part;
  for (let n = 0; n < values.length; n++) {
    const value = values[n]!;
    if (Number.isNaN(value)) continue;
    sum[n]! += value;
    count[n]! += 1;
  }
}
