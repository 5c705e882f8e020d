/** Every drawn layer of a region of the layout as pictures on one coarse grid, in shared memory. */
import type { PlateGrid } from '../../../../shared/frames.ts';
import { sharedRaster } from '../../../kernels/shared-raster.ts';
import { type DrawnStack, type LayerPicture, layerPictures } from './drawing.ts';

export interface LayoutPictures {
  readonly grid: PlateGrid;
  /** Pictures lie in shared memory, so that threads read them without a copy. */
  readonly layers: readonly LayerPicture[];
}

export function layoutPictures(stack: DrawnStack, grid: PlateGrid, slowUm: number): LayoutPictures {
  const layers = layerPictures(stack, grid, slowUm).map((layer) => {
    const picture = sharedRaster(layer.picture.length);
    picture.set(layer.picture);
    return { ...layer, picture };
  });
  return { grid, layers };
}

/** Part of the pictures, in memory of its own; 0 beyond the border. */
export function cropPicture(
  picture: Float32Array,
  grid: PlateGrid,
  column: number,
  row: number,
  width: number,
  height: number,
): Float32Array {
  const out = new Float32Array(width * height);
  for (let r = Math.max(0, -row); r < Math.min(height, grid.height_px - row); r++) {
    const from = Math.max(0, -column);
    const to = Math.min(width, grid.width_px - column);
    if (to <= from) break;
    const at = (row + r) * grid.width_px + column;
    out.set(picture.subarray(at + from, at + to), r * width + from);
  }
  return out;
}
