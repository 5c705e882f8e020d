/**
 * Exact area coverage of the union of polygons on a plate grid: what share of each pixel is covered, worked out from
 * the geometry and not from sample points.
 */
import type { PlateGrid } from '../../shared/frames.ts';
import { BandSweep } from './coverage-bands.ts';
import { Pieces } from './coverage-pieces.ts';
import { addBox, type CoverageRow, createRow, writeRow } from './coverage-row.ts';
import { type PixelShapes, readShapes } from './coverage-shapes.ts';
import { UprightSweep } from './coverage-upright.ts';

/**
 * Share of every pixel covered by the union of polygons. Inside is where a polygon's own winding number is not zero,
 * whichever way round it is drawn, so a polygon may cross or touch itself and hold holes cut by a bridge; polygons may
 * lie on each other.
 *
 * Exact to rounding: about 1e-9 of a pixel for coordinates within a million pixels of the grid, then rounded to float32.
 *
 * @param shapes flat coordinate lists in die micrometres, closed implicitly; fewer than 3 vertices cover nothing.
 * @param out raster to write over, width_px * height_px; a new one where left out.
 * @returns coverage 0..1, row 0 at the largest Y, row by row.
 * @throws RangeError for a coordinate that is not finite, a list of odd length, a grid without pixels, or an `out` of
 * another size.
 */
export function renderCoverage(
  shapes: Iterable<ArrayLike<number>>,
  grid: PlateGrid,
  out?: Float32Array,
): Float32Array {
  const { width_px: width, height_px: height } = grid;
  checkGrid(grid);
  const raster = out ?? new Float32Array(width * height);
  if (raster.length !== width * height)
    throw new RangeError(`The raster holds ${raster.length} pixels, the grid ${width * height}.`);
  const rows = new RowByRow(readShapes(shapes, grid), width, height);
  for (let row = 0; row < height; row++) rows.render(row, raster);
  return raster;
}

function checkGrid(grid: PlateGrid): void {
  const { width_px: width, height_px: height, pixel_um: pixelUm, origin_um: origin } = grid;
  if (!Number.isSafeInteger(width) || !Number.isSafeInteger(height) || width < 1 || height < 1)
    throw new RangeError(`A plate grid needs whole numbers of pixels, not ${width} x ${height}.`);
  if (!(pixelUm > 0) || !Number.isFinite(pixelUm))
    throw new RangeError(`A plate grid needs a pixel size above 0 um, not ${pixelUm}.`);
  if (!Number.isFinite(origin[0]) || !Number.isFinite(origin[1]))
    throw new RangeError(`A plate grid needs a finite origin, not (${origin[0]}, ${origin[1]}).`);
}

/**
 * Walks down the rows. In each row the shapes that reach into it are put in order of their left ends and taken in
 * groups that overlap in x, so that shapes apart from each other never share a sweep. An item is a rectangle (its
 * number) or a polygon (rectangleCount + its number).
 */
class RowByRow {
  readonly #shapes: PixelShapes;
  readonly #width: number;
  readonly #row: CoverageRow;
  readonly #pieces = new Pieces();
  readonly #upright: UprightSweep;
  readonly #bands: BandSweep;
  readonly #rectangles: ActiveList;
  readonly #edges: ActiveList;
  /** Extent of each item in x: fixed for rectangles, that of the present row for polygons. */
  readonly #left: Float64Array;
  readonly #right: Float64Array;
  /** Edges of each polygon in the present row as linked lists; -1 ends one. */
  readonly #firstEdge: Int32Array;
  readonly #nextEdge: Int32Array;
  readonly #items: Int32Array;
  readonly #sorted: Int32Array;
  readonly #columnStarts: Int32Array;

  constructor(shapes: PixelShapes, width: number, height: number) {
    const { rectangles, rectangleCount, edges, edgeCount, polygonCount } = shapes;
    this.#shapes = shapes;
    this.#width = width;
    this.#row = createRow(width);
    const items = rectangleCount + polygonCount;
    this.#upright = new UprightSweep(this.#row, items);
    this.#bands = new BandSweep(this.#row, items);
    this.#rectangles = new ActiveList(rectangles, rectangleCount, height);
    this.#edges = new ActiveList(edges, edgeCount, height);
    this.#left = new Float64Array(items);
    this.#right = new Float64Array(items);
    for (let n = 0; n < rectangleCount; n++) {
      this.#left[n] = rectangles[4 * n]!;
      this.#right[n] = rectangles[4 * n + 2]!;
    }
    this.#firstEdge = new Int32Array(polygonCount).fill(-1);
    this.#nextEdge = new Int32Array(edgeCount);
    this.#items = new Int32Array(items);
    this.#sorted = new Int32Array(items);
    this.#columnStarts = new Int32Array(width + 1);
  }

  render(row: number, raster: Float32Array): void {
    const count = this.#sortByLeft(this.#gather(row));
    const order = this.#sorted;
    for (let from = 0; from < count; ) {
      let right = this.#right[order[from]!]!;
      let to = from + 1;
      for (; to < count && this.#left[order[to]!]! < right; to++)
        right = Math.max(right, this.#right[order[to]!]!);
      this.#unionOfGroup(from, to, row, right);
      from = to;
    }
    writeRow(this.#row, raster, row * this.#width);
  }

  /** Lists the items that reach into a row and notes the extent of the polygons there. */
  #gather(row: number): number {
    const { edges, edgePolygon, rectangleCount } = this.#shapes;
    const items = this.#items;
    let count = this.#rectangles.moveTo(row);
    items.set(this.#rectangles.members.subarray(0, count));
    const edgeCount = this.#edges.moveTo(row);
    for (let n = 0; n < edgeCount; n++) {
      const edge = this.#edges.members[n]!;
      const polygon = edgePolygon[edge]!;
      const item = rectangleCount + polygon;
      const first = this.#firstEdge[polygon]!;
      if (first < 0) {
        items[count++] = item;
        this.#left[item] = Infinity;
        this.#right[item] = -Infinity;
      }
      this.#nextEdge[edge] = first;
      this.#firstEdge[polygon] = edge;
      const uTop = atHeight(edges, edge, row);
      const uBottom = atHeight(edges, edge, row + 1);
      this.#left[item] = Math.min(this.#left[item]!, uTop, uBottom);
      this.#right[item] = Math.max(this.#right[item]!, uTop, uBottom);
    }
    return count;
  }

  /** Orders the items by their left ends: into pixel columns first, so that the insertion sort finds little to do. */
  #sortByLeft(count: number): number {
    const starts = this.#columnStarts.fill(0);
    const last = this.#width - 1;
    const column = (item: number): number => Math.min(Math.max(Math.floor(this.#left[item]!), 0), last);
    for (let n = 0; n < count; n++) starts[column(this.#items[n]!) + 1]!++;
    for (let n = 1; n <= last; n++) starts[n]! += starts[n - 1]!;
    const order = this.#sorted;
    for (let n = 0; n < count; n++) order[starts[column(this.#items[n]!)]!++] = this.#items[n]!;
    for (let n = 1; n < count; n++) {
      const item = order[n]!;
      const key = this.#left[item]!;
      let at = n;
      for (; at > 0 && this.#left[order[at - 1]!]! > key; at--) order[at] = order[at - 1]!;
      order[at] = item;
    }
    return count;
  }

  /** Adds the union of the items `from` to `to` of the present order, which end at `right`. */
  #unionOfGroup(from: number, to: number, row: number, right: number): void {
    const { rectangles, rectangleCount } = this.#shapes;
    const order = this.#sorted;
    let highest = 0;
    let lowest = 1;
    let onlyRectangles = true;
    for (let n = from; n < to && onlyRectangles; n++) {
      const item = order[n]!;
      onlyRectangles = item < rectangleCount;
      highest = Math.max(highest, rectangles[4 * item + 1]! - row);
      lowest = Math.min(lowest, rectangles[4 * item + 3]! - row);
    }
    const through = highest <= 0 && lowest >= 1;
    if (onlyRectangles && (through || to - from === 1)) {
      addBox(this.#row, this.#left[order[from]!]!, right, lowest - highest);
      return;
    }
    for (let n = from; n < to; n++) {
      if (order[n]! < rectangleCount) this.#addRectangle(order[n]!, row);
      else this.#addPolygon(order[n]!, row);
    }
    (this.#pieces.slanted ? this.#bands : this.#upright).run(this.#pieces);
    this.#pieces.clear();
  }

  #addRectangle(item: number, row: number): void {
    const { rectangles } = this.#shapes;
    const left = this.#left[item]!;
    const right = this.#right[item]!;
    const top = Math.max(rectangles[4 * item + 1]! - row, 0);
    const bottom = Math.min(rectangles[4 * item + 3]! - row, 1);
    this.#pieces.add(left, top, left, bottom, item, -1);
    this.#pieces.add(right, top, right, bottom, item, 1);
  }

  #addPolygon(item: number, row: number): void {
    const { edges, edgeSense, rectangleCount } = this.#shapes;
    const polygon = item - rectangleCount;
    for (let edge = this.#firstEdge[polygon]!; edge >= 0; edge = this.#nextEdge[edge]!) {
      const top = Math.max(edges[4 * edge + 1]! - row, 0);
      const bottom = Math.min(edges[4 * edge + 3]! - row, 1);
      const uTop = atHeight(edges, edge, row);
      const uBottom = atHeight(edges, edge, row + 1);
      this.#pieces.add(uTop, top, uBottom, bottom, item, edgeSense[edge]!);
    }
    this.#firstEdge[polygon] = -1;
  }
}

/** u of an edge where it crosses the level v, or its nearer end where it does not reach it. */
function atHeight(edges: Float64Array, edge: number, v: number): number {
  const uTop = edges[4 * edge]!;
  const vTop = edges[4 * edge + 1]!;
  const uBottom = edges[4 * edge + 2]!;
  const vBottom = edges[4 * edge + 3]!;
  if (v <= vTop || uTop === uBottom) return uTop;
  return v >= vBottom ? uBottom : uTop + (uBottom - uTop) * ((v - vTop) / (vBottom - vTop));
}

/** Boxes or edges (`u0, v0, u1, v1` with v0 < v1) that reach into the present row, kept up to date going down. */
class ActiveList {
  readonly members: Int32Array;
  readonly #quads: Float64Array;
  /** All of them by the row they begin in, and where each row's share starts. */
  readonly #byRow: Int32Array;
  readonly #rowStarts: Int32Array;
  #count = 0;

  constructor(quads: Float64Array, count: number, height: number) {
    this.#quads = quads;
    this.members = new Int32Array(count);
    this.#byRow = new Int32Array(count);
    this.#rowStarts = new Int32Array(height + 2);
    const starts = this.#rowStarts;
    const firstRow = (n: number): number => Math.max(Math.floor(quads[4 * n + 1]!), 0);
    for (let n = 0; n < count; n++) starts[firstRow(n) + 2]!++;
    for (let row = 2; row < starts.length; row++) starts[row]! += starts[row - 1]!;
    for (let n = 0; n < count; n++) this.#byRow[starts[firstRow(n) + 1]!++] = n;
  }

  /** Drops those that end above the row, takes in those that begin in it; rows must come in order. */
  moveTo(row: number): number {
    let kept = 0;
    for (let n = 0; n < this.#count; n++) {
      const member = this.members[n]!;
      if (this.#quads[4 * member + 3]! > row) this.members[kept++] = member;
    }
    for (let n = this.#rowStarts[row]!; n < this.#rowStarts[row + 1]!; n++)
      this.members[kept++] = this.#byRow[n]!;
    this.#count = kept;
    return kept;
  }
}
