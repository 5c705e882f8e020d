/** Members of a reference lattice whose boxes meet a window, found without visiting the others. */
import { type Box, isEmptyBox } from '../../../shared/polygon.ts';

/** A lattice of placements: member (c, r) is shifted by c * (ux, uy) + r * (vx, vy). */
export interface Lattice {
  readonly columns: number;
  readonly rows: number;
  readonly ux: number;
  readonly uy: number;
  readonly vx: number;
  readonly vy: number;
}

/** Members this close to the window count as meeting it; callers check each member exactly. */
const SLACK = 1e-6;

/** Box of all members together, where `box` is that of member (0, 0). */
export function latticeBox(lattice: Lattice, box: Box): Box {
  if (isEmptyBox(box)) return box;
  const { columns, rows, ux, uy, vx, vy } = lattice;
  const cx = (columns - 1) * ux;
  const cy = (columns - 1) * uy;
  const rx = (rows - 1) * vx;
  const ry = (rows - 1) * vy;
  return [
    box[0] + Math.min(cx, 0) + Math.min(rx, 0),
    box[1] + Math.min(cy, 0) + Math.min(ry, 0),
    box[2] + Math.max(cx, 0) + Math.max(rx, 0),
    box[3] + Math.max(cy, 0) + Math.max(ry, 0),
  ];
}

/** Steps through the members that meet a window, column by column. `column` and `row` hold the current one. */
export class LatticeCursor {
  column: number;
  row = 0;
  readonly #lattice: Lattice;
  /** Where the shift of a member has to lie for its box to meet the window. */
  readonly #shifts: Box;
  readonly #lastColumn: number;
  #lastRow = -1;

  /** @param box of member (0, 0), in the frame of the window */
  constructor(lattice: Lattice, box: Box, window: Box) {
    this.#lattice = lattice;
    this.#shifts = [
      window[0] - box[2] - SLACK,
      window[1] - box[3] - SLACK,
      window[2] - box[0] + SLACK,
      window[3] - box[1] + SLACK,
    ];
    const [first, last] = this.#columnRange();
    this.column = first - 1;
    this.#lastColumn = last;
  }

  /** Moves to the next member. @returns false when there is none */
  next(): boolean {
    this.row++;
    while (this.row > this.#lastRow) {
      this.column++;
      if (this.column > this.#lastColumn) return false;
      const { rows, vx, vy, ux, uy } = this.#lattice;
      const [x0, y0, x1, y1] = this.#shifts;
      const cx = this.column * ux;
      const cy = this.column * uy;
      const alongX = multiples(vx, x0 - cx, x1 - cx, rows);
      const alongY = multiples(vy, y0 - cy, y1 - cy, rows);
      this.row = Math.max(alongX[0], alongY[0]);
      this.#lastRow = Math.min(alongX[1], alongY[1]);
    }
    return true;
  }

  /** Columns that can hold a member: the window's corners taken back into lattice coordinates. */
  #columnRange(): readonly [number, number] {
    const { columns, rows, ux, uy, vx, vy } = this.#lattice;
    const [x0, y0, x1, y1] = this.#shifts;
    const determinant = ux * vy - uy * vx;
    if (determinant !== 0 && rows > 1) {
      const corners = [x0 * vy - y0 * vx, x1 * vy - y0 * vx, x0 * vy - y1 * vx, x1 * vy - y1 * vx];
      const scaled = corners.map((corner) => corner / determinant);
      return clampRange(Math.min(...scaled), Math.max(...scaled), columns);
    }
    // One row, or both steps along one line: the rows can shift a column by this much.
    const rx = (rows - 1) * vx;
    const ry = (rows - 1) * vy;
    const alongX = multiples(ux, x0 - Math.max(rx, 0), x1 - Math.min(rx, 0), columns);
    const alongY = multiples(uy, y0 - Math.max(ry, 0), y1 - Math.min(ry, 0), columns);
    return [Math.max(alongX[0], alongY[0]), Math.min(alongX[1], alongY[1])];
  }
}

/** The whole numbers n in 0 .. count - 1 with low <= n * step <= high, as first and last (last < first: none). */
function multiples(step: number, low: number, high: number, count: number): readonly [number, number] {
  if (step === 0) return low <= 0 && high >= 0 ? [0, count - 1] : [0, -1];
  return step > 0 ? clampRange(low / step, high / step, count) : clampRange(high / step, low / step, count);
}

const clampRange = (low: number, high: number, count: number): readonly [number, number] => [
  Math.max(0, Math.ceil(low - SLACK)),
  Math.min(count - 1, Math.floor(high + SLACK)),
];
