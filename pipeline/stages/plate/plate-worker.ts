/** Thread of the plate stage: reads slices as they are needed, resamples plates, writes their pyramids. */
import { relative } from 'node:path';
import sharp from 'sharp';
import { platePath } from '../../../shared/plate-path.ts';
import { openVolume } from '../../formats/volume/registry.ts';
import type { VolumeSource } from '../../formats/volume.ts';
import { resamplePlate, slicesNeeded } from '../../kernels/resample.ts';
import { writePyramid } from '../../output/pyramid.ts';
import { brickPlane } from './brick-plan.ts';
import { greyPicture } from './grey.ts';
import type { BrickPlane, PlateResult, PlateTask, PortraitPart } from './plate-task.ts';
import { SliceWindow } from './slice-window.ts';

// Each thread of ours is one of a pair; more threads below it would only take turns.
sharp.concurrency(1);
sharp.cache(false);

/** Pyramids being encoded while the next plate is resampled. */
const IN_FLIGHT = 2;

export default async function run(task: PlateTask): Promise<PlateResult> {
  const source = await openVolume(task.spec, { nameOf: (file) => relative(task.campaignFolder, file) });
  try {
    return await plates(task, source);
  } finally {
    await source.close();
  }
}

async function plates(task: PlateTask, source: VolumeSource): Promise<PlateResult> {
  const { grid, dieToVoxel, mask, warp } = task;
  const { nx, ny, nz } = source.shape;
  const pixels = grid.width_px * grid.height_px;
  const window = new SliceWindow(source, task.brokenSlices);
  const portraits = new Map<string, PortraitPart>();
  const planes: BrickPlane[] = [];
  const writing: Promise<void>[] = [];
  const values = new Float32Array(pixels);
  let filled = 0;
  for (let n = 0; n < task.zUm.length; n++) {
    const index = task.firstIndex + n;
    const zUm = task.zUm[n]!;
    await window.moveTo(...slicesNeeded(dieToVoxel, grid, zUm, nz, warp));
    filled += resamplePlate({ nx, ny, nz, mask, slice: window.slice }, dieToVoxel, grid, zUm, values, warp);
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
      planes.push({ plane: index / every, bytes: brickPlane(values, grid, task.brick) });
    const { black, white } = task.windows[n]!;
    const picture = greyPicture(values, grid.width_px, grid.height_px, black, white, task.transparent);
    const written = writePyramid(platePath(task.pathPattern, index), picture, 'lossy').then(() => {
      Atomics.add(task.done, 0, 1);
    });
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

/** In shared memory, so that the sums reach the main thread without a copy. */
const emptyPart = (name: string, pixels: number): PortraitPart => ({
  name,
  sum: new Float32Array(new SharedArrayBuffer(4 * pixels)),
  count: new Uint16Array(new SharedArrayBuffer(2 * pixels)),
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
