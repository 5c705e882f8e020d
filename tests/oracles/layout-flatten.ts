/**
 * A layout opened out completely, the slow plain way: every reference, every member of every array, every point, with
 * no boxes and no pruning. To judge window queries by.
 */
import { blockPathOutline, pathOutline } from '../../pipeline/formats/layout/path-outline.ts';
import {
  type DrawnLayer,
  type LatticeBlock,
  type Layout,
  PATH_ENDS,
  pathAt,
  polygonCount,
  referenceAt,
} from '../../pipeline/formats/layout.ts';
import { type Box, polygonBox, windingNumber } from '../../shared/polygon.ts';

export interface PlainShape {
  readonly drawn: DrawnLayer;
  readonly xyUm: number[];
  readonly boxUm: Box;
}

export interface PlainLabel {
  readonly drawn: DrawnLayer;
  readonly text: string;
  readonly xUm: number;
  readonly yUm: number;
  readonly cellPath: string;
}

export interface PlainLayout {
  readonly shapes: PlainShape[];
  readonly labels: PlainLabel[];
  /** Cell paths, one per placement. */
  readonly placements: string[];
}

type Matrix = readonly number[];

export function flattenWholly(layout: Layout, top: string): PlainLayout {
  const flat: PlainLayout = { shapes: [], labels: [], placements: [] };
  open(layout, top, [1, 0, 0, 0, 1, 0], 1, top, flat);
  return flat;
}

function open(
  layout: Layout,
  name: string,
  m: Matrix,
  magnification: number,
  path: string,
  flat: PlainLayout,
): void {
  const cell = layout.cells.get(name);
  if (cell === undefined) throw new Error(`no cell ${name}`);
  flat.placements.push(path);
  const toUm = (x: number, y: number) =>
    [m[0] * x + m[1] * y + m[2], m[3] * x + m[4] * y + m[5]].map((value) => value * layout.dbuUm);
  const add = (drawn: DrawnLayer, xy: ArrayLike<number>) => {
    const xyUm: number[] = [];
    for (let n = 0; n < xy.length; n += 2) xyUm.push(...toUm(xy[n], xy[n + 1]));
    if (xyUm.length > 0) flat.shapes.push({ drawn, xyUm, boxUm: polygonBox(xyUm) });
  };
  for (const [drawn, block] of cell.polygons) {
    for (let n = 0; n < polygonCount(block); n++) {
      add(drawn, block.xy.slice(2 * block.starts[n], 2 * block.starts[n + 1]));
    }
  }
  for (const [drawn, block] of cell.paths) {
    for (let n = 0; n < polygonCount(block); n++) {
      const { ends, widthDbu, widthIsAbsolute, xy } = pathAt(block, n);
      const width = widthIsAbsolute ? widthDbu / magnification : widthDbu;
      const code = { flush: PATH_ENDS.flush, round: PATH_ENDS.round, 'half-width': PATH_ENDS.halfWidth };
      const how =
        typeof ends === 'string'
          ? { ends: code[ends], beginDbu: 0, endDbu: 0 }
          : { ends: PATH_ENDS.explicit, ...ends };
      add(drawn, pathOutline(xy, width, how));
    }
  }
  for (const [drawn, block] of cell.arrays) {
    for (let n = 0; n < polygonCount(block.polygons); n++) {
      const { xy, starts } = block.polygons;
      const one = Array.from(xy.slice(2 * starts[n], 2 * starts[n + 1]));
      for (const [x, y] of members(block.polygonLattices, n)) {
        add(
          drawn,
          one.map((value, at) => value + (at % 2 === 0 ? x : y)),
        );
      }
    }
    for (let n = 0; n < polygonCount(block.paths); n++) {
      const one = Array.from(blockPathOutline(block.paths, n, magnification));
      for (const [x, y] of members(block.pathLattices, n)) {
        add(
          drawn,
          one.map((value, at) => value + (at % 2 === 0 ? x : y)),
        );
      }
    }
  }
  for (const { drawn, text, xDbu, yDbu } of cell.labels) {
    const [xUm, yUm] = toUm(xDbu, yDbu);
    flat.labels.push({ drawn, text, xUm, yUm, cellPath: path });
  }
  for (let n = 0; n < cell.references.count; n++) {
    const reference = referenceAt(cell.references, n);
    const [a, b, tx, c, d, ty] = reference.transform;
    for (let column = 0; column < reference.columns; column++) {
      for (let row = 0; row < reference.rows; row++) {
        const x = tx + column * reference.columnStepDbu[0] + row * reference.rowStepDbu[0];
        const y = ty + column * reference.columnStepDbu[1] + row * reference.rowStepDbu[1];
        const inner = [
          m[0] * a + m[1] * c,
          m[0] * b + m[1] * d,
          m[0] * x + m[1] * y + m[2],
          m[3] * a + m[4] * c,
          m[3] * b + m[4] * d,
          m[3] * x + m[4] * y + m[5],
        ];
        const below = magnification * reference.magnification;
        open(layout, reference.cell, inner, below, `${path}/${reference.cell}`, flat);
      }
    }
  }
}

/** Shifts of the members of lattice n. */
function members({ columns, rows, stepsDbu }: LatticeBlock, n: number): [number, number][] {
  const [ux, uy, vx, vy] = stepsDbu.slice(4 * n, 4 * n + 4);
  const shifts: [number, number][] = [];
  for (let column = 0; column < columns[n]; column++) {
    for (let row = 0; row < rows[n]; row++) shifts.push([column * ux + row * vx, column * uy + row * vy]);
  }
  return shifts;
}

/** Whether a polygon and a window have a point in common. */
export function touchesWindow(xy: readonly number[], window: Box): boolean {
  for (let n = 0, m = xy.length - 2; n < xy.length; m = n, n += 2) {
    if (edgeTouches(xy[m], xy[m + 1], xy[n], xy[n + 1], window)) return true;
  }
  // No edge in the window: it lies wholly inside or wholly outside.
  return windingNumber(xy, window[0], window[1]) !== 0;
}

/** Liang-Barsky: the parameters along the edge that lie between each pair of the window's sides. */
function edgeTouches(x0: number, y0: number, x1: number, y1: number, window: Box): boolean {
  let from = 0;
  let to = 1;
  for (const [start, end, low, high] of [
    [x0, x1, window[0], window[2]],
    [y0, y1, window[1], window[3]],
  ]) {
    if (start === end) {
      if (start < low || start > high) return false;
      continue;
    }
    const a = (low - start) / (end - start);
    const b = (high - start) / (end - start);
    from = Math.max(from, Math.min(a, b));
    to = Math.min(to, Math.max(a, b));
  }
  return from <= to;
}
