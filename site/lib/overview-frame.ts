/** Where the view lies in the overview. Pure. */
import type { PlateGrid } from '../../shared/frames.ts';
import type { Box } from '../../shared/polygon.ts';

const LONGER_PX = 132;
/** A frame must be seen however small the view is. */
const LEAST_PX = 6;

/**
 * CSS pixels of the overview: the shape of the field, and never more than a third of the picture.
 * @param room width of the picture in CSS pixels
 */
export function overviewSize(grid: PlateGrid, room: number): { width: number; height: number } {
  const side = Math.min(LONGER_PX, room / 3) / Math.max(grid.width_px, grid.height_px);
  return {
    width: Math.max(24, Math.round(side * grid.width_px)),
    height: Math.max(24, Math.round(side * grid.height_px)),
  };
}

/**
 * @param view and field in micrometres, X right and Y up
 * @param width of the overview in CSS pixels
 * @returns the view, as far as it lies in the field, in CSS pixels from the upper left
 */
export function frameInOverview(
  view: Box,
  field: Box,
  width: number,
): { left: number; top: number; width: number; height: number } {
  const scale = width / (field[2] - field[0]);
  const height = (field[3] - field[1]) * scale;
  const span = (low: number, high: number, end: number): [number, number] => {
    const [a, b] = [Math.max(0, low), Math.min(end, high)];
    if (b - a >= LEAST_PX) return [a, b - a];
    const middle = Math.min(end - LEAST_PX / 2, Math.max(LEAST_PX / 2, (a + b) / 2));
    return [middle - LEAST_PX / 2, LEAST_PX];
  };
  const [left, across] = span((view[0] - field[0]) * scale, (view[2] - field[0]) * scale, width);
  const [top, down] = span((field[3] - view[3]) * scale, (field[3] - view[1]) * scale, height);
  return { left, top, width: across, height: down };
}
