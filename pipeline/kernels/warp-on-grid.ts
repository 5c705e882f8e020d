/** The slow bending of a scan at every pixel of a grid. */
import type { Warp } from '../../shared/artefacts/placement.ts';
import { dieFromPixel, type PlateGrid } from '../../shared/frames.ts';
import { withoutWarp } from '../../shared/warp.ts';

/** Micrometres along x, y and z, row 0 at the largest Y. */
export interface Displacement {
  readonly x: Float32Array;
  readonly y: Float32Array;
  readonly z: Float32Array;
}

/** How far what is seen at each pixel was moved from where the affine map puts it. */
export function warpOnGrid(warp: Warp, grid: PlateGrid): Displacement {
  const count = grid.width_px * grid.height_px;
  const out = { x: new Float32Array(count), y: new Float32Array(count), z: new Float32Array(count) };
  for (let row = 0, p = 0; row < grid.height_px; row++) {
    for (let column = 0; column < grid.width_px; column++, p++) {
      const [x, y] = dieFromPixel(grid, column, row);
      const [u, v, w] = withoutWarp(warp, x, y, 0);
      out.x[p] = x - u;
      out.y[p] = y - v;
      out.z[p] = -w;
    }
  }
  return out;
}
