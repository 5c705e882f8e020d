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

/** The same at half as many pixels across and down: means of four. */
export function halved({ grid, layers }: LayoutPictures): LayoutPictures {
  const [width, height] = [grid.width_px >> 1, grid.height_px >> 1];
  const { origin_um: from, pixel_um: pixel } = grid;
  return {
    grid: {
      ...grid,
      ...{ width_px: width, height_px: height, pixel_um: 2 * pixel },
      origin_um: [from[0] + pixel / 2, from[1] - pixel / 2],
    },
    layers: layers.map(({ layer, picture }) => {
      const half = sharedRaster(width * height);
      let squares = 0;
      for (let row = 0; row < height; row++) {
        let at = 2 * row * grid.width_px;
        for (let column = 0; column < width; column++, at += 2) {
          const below = at + grid.width_px;
          const mean = (picture[at]! + picture[at + 1]! + picture[below]! + picture[below + 1]!) / 4;
          half[row * width + column] = mean;
          squares += mean * mean;
        }
      }
      return { layer, picture: half, power: squares / Math.max(1, width * height) };
    }),
  };
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
