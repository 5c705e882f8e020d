/**
 * The image of an overview in the place of the drawing: layer by layer, in the die frame. A finer scan of the same chip
 * is matched with it exactly as with a drawing, and sees there what no drawing has: fill, faults, edges as they came out.
 */
import { compose3, invert3 } from '../../../../shared/affine.ts';
import type { Process, ProcessLayer } from '../../../../shared/artefacts/process.ts';
import type { PlateGrid } from '../../../../shared/frames.ts';
import { warpOnGrid } from '../../../kernels/warp-on-grid.ts';
import type { DrawnStack } from '../automatic/drawing.ts';
import { resampleFrame } from '../automatic/frame-volume.ts';
import { type WorkVolume, workFromFile } from '../automatic/work-volume.ts';
import type { Overview } from './overview.ts';

/** Brings grey values of unit spread to the range of a coverage, which the matcher weighs layers by. */
const AS_COVERAGE = 0.25;
/** Heights this near the faces of a layer are left to its neighbours, as a share of the thickness. */
const FACE_SHARE = 0.12;

/** @param work the overview, made fit for matching */
export function overviewStack(
  { placement }: Pick<Overview, 'placement'>,
  work: WorkVolume,
  process: Process,
): DrawnStack {
  const map = compose3(placement.voxel_to_die_um, invert3(workFromFile(work.binning)));
  const render = (layer: ProcessLayer, plate: PlateGrid): Float32Array => {
    const from = layer.bottom_um + FACE_SHARE * layer.thickness_um;
    const depth = (1 - 2 * FACE_SHARE) * layer.thickness_um;
    const count = Math.max(1, Math.round(depth / work.voxelUm[2]));
    const { width_px: width, height_px: height, origin_um: origin, pixel_um: pixel } = plate;
    const grid = {
      ...{ left: origin[0], top: origin[1], pixel, width, height, count },
      ...{ step: depth / count, bottom: from + depth / count / 2 },
    };
    const bend = placement.warp && warpOnGrid(placement.warp, plate);
    const { values } = resampleFrame(work, map, grid, bend);
    const out = new Float32Array(width * height);
    for (let n = 0; n < count; n++)
      for (let p = 0; p < out.length; p++) out[p] = out[p]! + values[n * out.length + p]!;
    for (let p = 0; p < out.length; p++) out[p] = out[p]! * (AS_COVERAGE / count);
    return out;
  };
  return { layers: process.layers, render };
}
