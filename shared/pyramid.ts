/**
 * Arithmetic of Deep Zoom pyramids without overlap: which levels, how large, which tile, under which name. Pure
 * numbers, used by the pipeline, the site and their tests.
 *
 * @source Deep Zoom File Format Overview (Microsoft Learn, previous versions): level 0 is 1 x 1, the maximum level
 * is ceil(log2(max(width, height))), each level halves rounding up, tiles are named column_row below a folder per
 * level.
 */
export interface PyramidSize {
  readonly width: number;
  readonly height: number;
  readonly tilePx: number;
}

export const maximumLevel = (size: PyramidSize): number =>
  Math.ceil(Math.log2(Math.max(size.width, size.height, 1)));

/** Pixels of one level. Halving and rounding up k times equals one division by 2^k rounded up. */
export function levelSize(size: PyramidSize, level: number): { width: number; height: number } {
  const divisor = 2 ** (maximumLevel(size) - level);
  return { width: Math.ceil(size.width / divisor), height: Math.ceil(size.height / divisor) };
}

export function tileCounts(size: PyramidSize, level: number): { columns: number; rows: number } {
  const { width, height } = levelSize(size, level);
  return { columns: Math.ceil(width / size.tilePx), rows: Math.ceil(height / size.tilePx) };
}

export function totalTiles(size: PyramidSize): number {
  let total = 0;
  for (let level = 0; level <= maximumLevel(size); level++) {
    const { columns, rows } = tileCounts(size, level);
    total += columns * rows;
  }
  return total;
}

/** Pixel rectangle of a tile inside its level. */
export function tileRectangle(
  size: PyramidSize,
  level: number,
  column: number,
  row: number,
): { x: number; y: number; width: number; height: number } {
  const whole = levelSize(size, level);
  const x = column * size.tilePx;
  const y = row * size.tilePx;
  return {
    x,
    y,
    width: Math.min(size.tilePx, whole.width - x),
    height: Math.min(size.tilePx, whole.height - y),
  };
}

/** Path of a tile relative to its descriptor: `name_files/level/column_row.format`. */
export const tileName = (name: string, level: number, column: number, row: number, format: string): string =>
  `${name}_files/${level}/${column}_${row}.${format}`;
