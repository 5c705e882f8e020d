/** Arithmetic of the brick: which plane shows a plate, and where it lies. Without the schema, for browsers. */
import type { Brick } from './artefacts/brick.ts';
import type { PlateGrid } from './frames.ts';

type Planes = Pick<Brick, 'plates' | 'every'>;

export const planeCount = ({ plates, every }: Planes): number => Math.ceil(plates / every);

/** The plane nearest to a plate. */
export const planeOfPlate = (brick: Planes, plate: number): number =>
  Math.min(planeCount(brick) - 1, Math.max(0, Math.round(plate / brick.every)));

/** Sheet and upper left pixel of a plane; null where no sheet holds it. */
export function cellOfPlane(
  brick: Pick<Brick, 'columns' | 'rows' | 'tile' | 'sheets'>,
  plane: number,
): { sheet: number; x: number; y: number } | null {
  const sheet = brick.sheets.findIndex(({ first, count }) => plane >= first && plane < first + count);
  if (sheet < 0) return null;
  const cell = plane - brick.sheets[sheet]!.first;
  const x = (cell % brick.tile.columns) * brick.columns;
  const y = Math.floor(cell / brick.tile.columns) * brick.rows;
  return { sheet, x, y };
}

/** The raster of a plane, for the arithmetic of plates. */
export const brickGrid = (brick: Pick<Brick, 'columns' | 'rows' | 'pixel_um' | 'origin_um'>): PlateGrid => ({
  origin_um: brick.origin_um,
  pixel_um: brick.pixel_um,
  width_px: brick.columns,
  height_px: brick.rows,
});
