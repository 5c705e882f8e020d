/** How small the brick is: bounded whatever the volume measures, so that a browser may hold all of it. */
import type { PlateGrid } from '../../../shared/frames.ts';
import type { GreyWindow } from './plate-windows.ts';

/** Pixels along the longer side of a plane. */
const LONGER_SIDE = 256;
/** Planes; a taller volume shows every second plate, or every third. */
const MOST_PLANES = 384;
/** A window so many times wider than the middle one belongs to a slice gone wrong, and would leave no greys for others. */
const TOO_WIDE = 16;

/** What a plate has to know of the brick: not its greys, which depend on every other plate. */
export interface BrickShape {
  /** Pixels of the plate grid along one pixel of the brick. */
  readonly factor: number;
  readonly columns: number;
  readonly rows: number;
  readonly every: number;
}

export interface BrickPlan extends BrickShape {
  readonly grey: GreyWindow;
}

/** @param windows of every plate, at least one */
export function planBrick(grid: PlateGrid, windows: readonly GreyWindow[]): BrickPlan {
  const factor = Math.max(1, Math.ceil(Math.max(grid.width_px, grid.height_px) / LONGER_SIDE));
  return {
    factor,
    columns: Math.ceil(grid.width_px / factor),
    rows: Math.ceil(grid.height_px / factor),
    every: Math.max(1, Math.ceil(windows.length / MOST_PLANES)),
    grey: commonWindow(windows),
  };
}

/** One window for all plates: heights must be comparable in a vertical section. */
function commonWindow(windows: readonly GreyWindow[]): GreyWindow {
  const widths = windows.map((w) => w.white - w.black).sort((a, b) => a - b);
  const most = TOO_WIDE * widths[widths.length >> 1]!;
  const sound = windows.filter((w) => w.white - w.black <= most);
  return {
    black: sound.reduce((least, w) => Math.min(least, w.black), Number.POSITIVE_INFINITY),
    white: sound.reduce((most, w) => Math.max(most, w.white), Number.NEGATIVE_INFINITY),
  };
}

/** Centre of the upper left pixel of the brick: the middle of the pixels it takes together. */
export const brickOrigin = (grid: PlateGrid, factor: number): [number, number] => {
  const half = ((factor - 1) / 2) * grid.pixel_um;
  return [grid.origin_um[0] + half, grid.origin_um[1] - half];
};

/** One plate in small, in greys: `columns * rows` pairs of grey and opacity. */
export const brickPlane = (values: Float32Array, grid: PlateGrid, plan: BrickPlan): Uint8Array =>
  brickGreys(brickMeans(values, grid, plan), plan.grey);

/**
 * One plate in small: means over squares of pixels, of those with data; NaN for a pixel of which less than half has.
 * @param values plate on the grid, NaN where there is no data
 * @returns `columns * rows` values in the unit of the volume
 */
export function brickMeans(values: Float32Array, grid: PlateGrid, shape: BrickShape): Float32Array {
  const { factor, columns, rows } = shape;
  const { width_px: width, height_px: height } = grid;
  const means = new Float32Array(columns * rows).fill(Number.NaN);
  const sums = new Float64Array(columns);
  const counts = new Uint32Array(columns);
  for (let row = 0; row < rows; row++) {
    const end = Math.min(height, (row + 1) * factor);
    sums.fill(0);
    counts.fill(0);
    for (let y = row * factor; y < end; y++) {
      const last = (y + 1) * width;
      for (let column = 0, n = y * width; column < columns; column++) {
        let sum = sums[column]!;
        let count = counts[column]!;
        for (const stop = Math.min(last, n + factor); n < stop; n++) {
          const value = values[n]!;
          if (Number.isNaN(value)) continue;
          sum += value;
          count++;
        }
        sums[column] = sum;
        counts[column] = count;
      }
    }
    for (let column = 0; column < columns; column++) {
      const pixels = (end - row * factor) * (Math.min(width, (column + 1) * factor) - column * factor);
      const count = counts[column]!;
      if (count > 0 && 2 * count >= pixels) means[row * columns + column] = sums[column]! / count;
    }
  }
  return means;
}

/** Grey and opacity in turn; no data is transparent. */
export function brickGreys(means: Float32Array, grey: GreyWindow): Uint8Array {
  const scale = 255 / (grey.white - grey.black);
  const bytes = new Uint8Array(2 * means.length);
  for (let n = 0; n < means.length; n++) {
    const mean = means[n]!;
    if (Number.isNaN(mean)) continue;
    bytes[2 * n] = Math.min(255, Math.max(0, Math.round((mean - grey.black) * scale)));
    bytes[2 * n + 1] = 255;
  }
  return bytes;
}
