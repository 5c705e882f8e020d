/** From a placement to the raster of the plates: where they lie, how fine they are, at which heights. */
import { type Affine3, apply3 } from '../../../shared/affine.ts';
import type { PlateGrid } from '../../../shared/frames.ts';

export interface PlatePlan {
  readonly grid: PlateGrid;
  readonly stepUm: number;
  /** Heights, lowest first. */
  readonly zUm: readonly number[];
  /** File slice at the centre of the field of view, for each height. */
  readonly slice: readonly number[];
  /** Corners of the scanned field in the die frame, in order round it, at mid height. */
  readonly footprintUm: readonly (readonly [number, number])[];
}

/**
 * Pixels are as large as a voxel is in the plane (the mean of its two sides), plates as far apart as slices are at the
 * centre of the field, so that resampling neither invents nor loses detail. The grid is the smallest upright box
 * round the field of view.
 * @param fieldBox half-open voxel box of the data: i0, j0, i1, j1
 */
export function planPlates(
  voxelToDieUm: Affine3,
  fieldBox: readonly [number, number, number, number],
  nz: number,
): PlatePlan {
  const [[a, b], [d, e], [g, h, zPerSlice]] = voxelToDieUm;
  const pixelUm = tidy((Math.hypot(a, d, g) + Math.hypot(b, e, h)) / 2);
  const [i0, j0, i1, j1] = fieldBox;
  const middleK = (nz - 1) / 2;
  // Outer faces of the outermost voxels.
  const corner = (i: number, j: number, k: number) => apply3(voxelToDieUm, [i, j, k]);
  const footprint = [
    corner(i0 - 0.5, j0 - 0.5, middleK),
    corner(i1 - 0.5, j0 - 0.5, middleK),
    corner(i1 - 0.5, j1 - 0.5, middleK),
    corner(i0 - 0.5, j1 - 0.5, middleK),
  ].map(([x, y]) => [x, y] as const);
  const xs = footprint.map(([x]) => x);
  const ys = footprint.map(([, y]) => y);
  const left = Math.min(...xs);
  const top = Math.max(...ys);
  // A sliver of a pixel from rounding must not add a column.
  const count = (extent: number) => Math.max(1, Math.ceil(extent / pixelUm - 0.01));
  const grid: PlateGrid = {
    origin_um: [left + pixelUm / 2, top - pixelUm / 2],
    pixel_um: pixelUm,
    width_px: count(Math.max(...xs) - left),
    height_px: count(top - Math.min(...ys)),
  };
  const centre = (k: number) => corner((i0 + i1 - 1) / 2, (j0 + j1 - 1) / 2, k)[2];
  const rising = zPerSlice >= 0;
  const lowest = rising ? 0 : nz - 1;
  const stepUm = Math.abs(zPerSlice);
  const bottomUm = centre(lowest);
  const order = Array.from({ length: nz }, (_, n) => n);
  return {
    grid,
    stepUm,
    zUm: order.map((n) => bottomUm + n * stepUm),
    slice: order.map((n) => (rising ? n : nz - 1 - n)),
    footprintUm: footprint,
  };
}

/** Six significant digits: no float dust in file names of later years, no loss that matters. */
const tidy = (value: number): number => Number(value.toPrecision(6));
