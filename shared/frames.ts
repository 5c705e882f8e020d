/**
 * The three frames everything is stated in. Die frame: X right, Y up, Z up out of the wafer, micrometres, Z = 0 at
 * the silicon. Voxel index `[i, j, k]`: column, row, slice, integers at voxel centres. Plate grid: axis-parallel to
 * the die frame, square pixels, row 0 at the largest Y.
 */
import { type Affine3, apply3 } from './affine.ts';
import type { Box } from './polygon.ts';

declare const frame: unique symbol;
type Framed<Name extends string> = readonly [number, number, number] & { readonly [frame]: Name };

export type VoxelIndex = Framed<'voxel'>;
export type DiePoint = Framed<'die'>;

export const voxelIndex = (i: number, j: number, k: number): VoxelIndex => [i, j, k] as unknown as VoxelIndex;
export const diePoint = (xUm: number, yUm: number, zUm: number): DiePoint =>
  [xUm, yUm, zUm] as unknown as DiePoint;

export function dieFromVoxel(voxelToDieUm: Affine3, index: VoxelIndex): DiePoint {
  return apply3(voxelToDieUm, index) as unknown as DiePoint;
}

/** The pixel raster all plates, portraits and renders of one scan share. */
export interface PlateGrid {
  /** Die X and Y of the centre of pixel (column 0, row 0), the upper left one. */
  readonly origin_um: readonly [number, number];
  /** Side of the square pixels. */
  readonly pixel_um: number;
  readonly width_px: number;
  readonly height_px: number;
}

export function dieFromPixel(grid: PlateGrid, column: number, row: number): [number, number] {
  return [grid.origin_um[0] + column * grid.pixel_um, grid.origin_um[1] - row * grid.pixel_um];
}

/** Column and row (fractional; pixel centres at integers) of a die position. */
export function pixelFromDie(grid: PlateGrid, xUm: number, yUm: number): [number, number] {
  return [(xUm - grid.origin_um[0]) / grid.pixel_um, (grid.origin_um[1] - yUm) / grid.pixel_um];
}

/** Outer edges of the grid in the die frame, half a pixel beyond the outermost pixel centres. */
export function gridBoxUm(grid: PlateGrid): Box {
  const half = grid.pixel_um / 2;
  const [x0, y1] = grid.origin_um;
  return [
    x0 - half,
    y1 - (grid.height_px - 0.5) * grid.pixel_um,
    x0 + (grid.width_px - 0.5) * grid.pixel_um,
    y1 + half,
  ];
}
