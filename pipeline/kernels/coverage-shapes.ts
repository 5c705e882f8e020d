/** Reads polygons into the two kinds of thing the coverage sweep works on: upright rectangles and edges, in pixels. */
import { type PlateGrid, pixelFromDie } from '../../shared/frames.ts';

/**
 * Pixel frame: u to the right, v downward, pixel (column c, row r) is the square c..c + 1 by r..r + 1. Polygons that
 * cannot touch the grid are left out, and so are edges above, below or along the rows.
 */
export interface PixelShapes {
  /** `u0, v0, u1, v1` per rectangle, clipped to the grid. */
  readonly rectangles: Float64Array;
  readonly rectangleCount: number;
  /** `u0, v0, u1, v1` per edge with v0 < v1. */
  readonly edges: Float64Array;
  readonly edgeCount: number;
  /** Polygon of each edge, 0 .. polygonCount - 1. */
  readonly edgePolygon: Int32Array;
  /** +1 where the polygon runs down the edge, -1 where it runs up. */
  readonly edgeSense: Int8Array;
  readonly polygonCount: number;
}

/** @throws RangeError for a coordinate that is not finite or a coordinate list of odd length. */
export function readShapes(shapes: Iterable<ArrayLike<number>>, grid: PlateGrid): PixelShapes {
  const reader = new ShapeReader(grid);
  let index = 0;
  for (const shape of shapes) reader.add(shape, index++);
  return reader.finish();
}

class ShapeReader {
  readonly #grid: PlateGrid;
  #rectangles = new Float64Array(1024);
  #rectangleCount = 0;
  #edges = new Float64Array(1024);
  #edgePolygon = new Int32Array(256);
  #edgeSense = new Int8Array(256);
  #edgeCount = 0;
  #polygonCount = 0;
  #points = new Float64Array(256);

  constructor(grid: PlateGrid) {
    this.#grid = grid;
  }

  add(shape: ArrayLike<number>, index: number): void {
    if (shape.length % 2 !== 0)
      throw new RangeError(`Polygon ${index} has an odd number of coordinates (${shape.length}).`);
    const { width_px: width, height_px: height } = this.#grid;
    const count = shape.length >> 1;
    if (this.#points.length < shape.length) this.#points = new Float64Array(2 * shape.length);
    const points = this.#points;
    let u0 = Infinity;
    let v0 = Infinity;
    let u1 = -Infinity;
    let v1 = -Infinity;
    for (let n = 0; n < count; n++) {
      const [column, row] = pixelFromDie(this.#grid, shape[2 * n]!, shape[2 * n + 1]!);
      const u = column + 0.5;
      const v = row + 0.5;
      if (!Number.isFinite(u) || !Number.isFinite(v))
        throw new RangeError(
          `Polygon ${index}, vertex ${n} is not finite: (${shape[2 * n]}, ${shape[2 * n + 1]}).`,
        );
      points[2 * n] = u;
      points[2 * n + 1] = v;
      if (u < u0) u0 = u;
      if (u > u1) u1 = u;
      if (v < v0) v0 = v;
      if (v > v1) v1 = v;
    }
    if (!(u1 > 0 && v1 > 0 && u0 < width && v0 < height && u1 > u0 && v1 > v0)) return;
    if (isUprightRectangle(points, count)) this.#addRectangle(u0, v0, u1, v1);
    else this.#addEdges(points, count);
  }

  finish(): PixelShapes {
    return {
      rectangles: this.#rectangles,
      rectangleCount: this.#rectangleCount,
      edges: this.#edges,
      edgeCount: this.#edgeCount,
      edgePolygon: this.#edgePolygon,
      edgeSense: this.#edgeSense,
      polygonCount: this.#polygonCount,
    };
  }

  #addRectangle(u0: number, v0: number, u1: number, v1: number): void {
    const at = 4 * this.#rectangleCount++;
    if (at === this.#rectangles.length) this.#rectangles = enlarged(this.#rectangles, Float64Array);
    this.#rectangles[at] = Math.max(u0, 0);
    this.#rectangles[at + 1] = Math.max(v0, 0);
    this.#rectangles[at + 2] = Math.min(u1, this.#grid.width_px);
    this.#rectangles[at + 3] = Math.min(v1, this.#grid.height_px);
  }

  #addEdges(points: Float64Array, count: number): void {
    const { width_px: width, height_px: height } = this.#grid;
    const polygon = this.#polygonCount++;
    for (let n = 0, m = count - 1; n < count; m = n++) {
      const down = points[2 * m + 1]! < points[2 * n + 1]!;
      // Always stored from the top: two edges that lie on each other then give the same numbers wherever they are cut.
      const top = down ? m : n;
      const bottom = down ? n : m;
      const vTop = points[2 * top + 1]!;
      const vBottom = points[2 * bottom + 1]!;
      if (vTop === vBottom || vBottom <= 0 || vTop >= height) continue;
      let uTop = points[2 * top]!;
      let uBottom = points[2 * bottom]!;
      // Beyond the left or right border only the winding counts, not where the edge runs.
      if (uTop <= 0 && uBottom <= 0) uTop = uBottom = 0;
      else if (uTop >= width && uBottom >= width) uTop = uBottom = width;
      const edge = this.#edgeCount++;
      if (edge === this.#edgePolygon.length) {
        this.#edges = enlarged(this.#edges, Float64Array);
        this.#edgePolygon = enlarged(this.#edgePolygon, Int32Array);
        this.#edgeSense = enlarged(this.#edgeSense, Int8Array);
      }
      this.#edges[4 * edge] = uTop;
      this.#edges[4 * edge + 1] = vTop;
      this.#edges[4 * edge + 2] = uBottom;
      this.#edges[4 * edge + 3] = vBottom;
      this.#edgePolygon[edge] = polygon;
      this.#edgeSense[edge] = down ? 1 : -1;
    }
  }
}

/** Four corners (or five, the last repeating the first) joined by alternating upright and level sides. */
function isUprightRectangle(p: Float64Array, count: number): boolean {
  const closed = count === 5 && p[0] === p[8] && p[1] === p[9];
  if (count !== 4 && !closed) return false;
  if (p[0] === p[2]) return p[3] === p[5] && p[4] === p[6] && p[7] === p[1];
  return p[1] === p[3] && p[2] === p[4] && p[5] === p[7] && p[6] === p[0];
}

/** A copy of a typed array with room for twice as many. */
export function enlarged<A extends Float64Array | Int32Array | Int8Array>(
  old: A,
  make: new (length: number) => A,
): A {
  const larger = new make(2 * old.length);
  larger.set(old);
  return larger;
}
