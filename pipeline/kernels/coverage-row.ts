/**
 * One pixel row of exact area coverage, held as differences: a line that bounds the covered side on its right
 * changes only the pixels it runs through and the one after, so a wide span costs no more than a narrow one.
 */

/** Differences smaller than this are rounding, not area. */
const ROUNDING = 1e-9;

export interface CoverageRow {
  readonly widthPx: number;
  /** Entry c is the change of coverage from pixel c - 1 to pixel c. Length widthPx + 2. */
  readonly differences: Float64Array;
  /** Set by every addition, cleared by `writeRow`. */
  touched: boolean;
}

export const createRow = (widthPx: number): CoverageRow => ({
  widthPx,
  differences: new Float64Array(widthPx + 2),
  touched: false,
});

/**
 * Adds the area to the right of a straight line that crosses a horizontal strip of the row.
 *
 * @param xTop x where the line enters the strip, in pixels; pixel c reaches from c to c + 1.
 * @param xBottom x where it leaves.
 * @param height height of the strip, a share of the row (0 to 1); negative takes the area away.
 */
export function addRightOfLine(row: CoverageRow, xTop: number, xBottom: number, height: number): void {
  const { widthPx, differences } = row;
  let x0 = Math.min(xTop, xBottom);
  let x1 = Math.max(xTop, xBottom);
  let h = height;
  if (x0 >= widthPx) return;
  row.touched = true;
  if (x1 <= 0) {
    differences[0]! += h;
    return;
  }
  if (x0 < 0) {
    const outside = (h * -x0) / (x1 - x0);
    differences[0]! += outside;
    h -= outside;
    x0 = 0;
  }
  if (x1 > widthPx) {
    h *= (widthPx - x0) / (x1 - x0);
    x1 = widthPx;
  }
  const first = Math.floor(x0);
  if (x1 <= first + 1) {
    const middle = (x0 + x1) / 2 - first;
    differences[first]! += h * (1 - middle);
    differences[first + 1]! += h * middle;
    return;
  }
  const heightPerPixel = h / (x1 - x0);
  for (let left = x0, column = first; left < x1; column++) {
    const right = Math.min(x1, column + 1);
    const part = heightPerPixel * (right - left);
    const middle = (left + right) / 2 - column;
    differences[column]! += part * (1 - middle);
    differences[column + 1]! += part * middle;
    left = right;
  }
}

/** Adds an upright rectangle from x0 to x1 (pixels), `height` a share of the row. */
export function addBox(row: CoverageRow, x0: number, x1: number, height: number): void {
  addRightOfLine(row, x0, x0, height);
  addRightOfLine(row, x1, x1, -height);
}

/** Sums the differences into coverage 0..1 at `offset` of the raster and empties the row. */
export function writeRow(row: CoverageRow, raster: Float32Array, offset: number): void {
  const { widthPx, differences } = row;
  if (!row.touched) {
    raster.fill(0, offset, offset + widthPx);
    return;
  }
  let sum = 0;
  for (let column = 0; column < widthPx; column++) {
    sum += differences[column]!;
    raster[offset + column] = sum < ROUNDING ? 0 : sum > 1 - ROUNDING ? 1 : sum;
  }
  differences.fill(0);
  row.touched = false;
}
