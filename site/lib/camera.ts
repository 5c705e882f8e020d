/**
 * Between the die frame and the coordinates of the pyramid engine, in which the picture is 1 wide, Y runs down and
 * the origin is the upper left edge of pixel (0, 0).
 */
import { type PlateGrid, pixelFromDie } from '../../shared/frames.ts';

export interface Camera {
  readonly xUm: number;
  readonly yUm: number;
  /** Width of the view. */
  readonly widthUm: number;
}

export const gridWidthUm = (grid: PlateGrid): number => grid.width_px * grid.pixel_um;

export function engineFromDie(grid: PlateGrid, xUm: number, yUm: number): [number, number] {
  const [column, row] = pixelFromDie(grid, xUm, yUm);
  // Pixel centres stand at integers in the grid, at halves in the engine.
  return [(column + 0.5) / grid.width_px, (row + 0.5) / grid.width_px];
}

export function dieFromEngine(grid: PlateGrid, u: number, v: number): [number, number] {
  return [
    grid.origin_um[0] + (u * grid.width_px - 0.5) * grid.pixel_um,
    grid.origin_um[1] - (v * grid.width_px - 0.5) * grid.pixel_um,
  ];
}

/** Column and row of the pixel that covers a point, or null outside the grid. */
export function pixelAtEngine(grid: PlateGrid, u: number, v: number): [number, number] | null {
  const column = Math.floor(u * grid.width_px);
  const row = Math.floor(v * grid.width_px);
  const inside = column >= 0 && row >= 0 && column < grid.width_px && row < grid.height_px;
  return inside ? [column, row] : null;
}

/** Column and row of the pixel that covers a die position, or null outside the grid. */
export const pixelAtDie = (grid: PlateGrid, xUm: number, yUm: number): [number, number] | null =>
  pixelAtEngine(grid, ...engineFromDie(grid, xUm, yUm));

/** Camera that shows the whole grid in a view of the given aspect (width / height), with a margin. */
export function wholeField(grid: PlateGrid, aspect: number, margin = 1.04): Camera {
  const width = gridWidthUm(grid);
  const height = grid.height_px * grid.pixel_um;
  return {
    xUm: grid.origin_um[0] + ((grid.width_px - 1) / 2) * grid.pixel_um,
    yUm: grid.origin_um[1] - ((grid.height_px - 1) / 2) * grid.pixel_um,
    widthUm: Math.max(width, height * aspect) * margin,
  };
}
