/** All shapes of one drawn layer in one cell: polygons first, then paths as outlines. */
import { type Box, EMPTY_BOX, polygonBox, unionBox } from '../../../shared/polygon.ts';
import { type PathBlock, type PolygonBlock, polygonCount } from '../layout.ts';
import { BoxTree } from './box-tree.ts';
import { blockPathOutline } from './path-outline.ts';

/** Where the vertices of one shape lie: coordinates from .. to of an array. Filled again for the next shape. */
export interface Outline {
  xy: Int32Array | Float64Array;
  from: number;
  to: number;
  /** To be added to every vertex. */
  dx: number;
  dy: number;
}

export class ShapeSet {
  readonly polygons: number;
  readonly count: number;
  /** Box of all shapes in the cell's frame. */
  readonly box: Box;
  readonly #polygons: PolygonBlock | undefined;
  readonly #paths: PathBlock | undefined;
  readonly #magnification: number;
  #tree: BoxTree | undefined;

  /** @param magnification of the cell in the layout as a whole, by which absolute widths are divided */
  constructor(polygons: PolygonBlock | undefined, paths: PathBlock | undefined, magnification: number) {
    this.#polygons = polygons;
    this.#paths = paths;
    this.#magnification = magnification;
    this.polygons = polygons === undefined ? 0 : polygonCount(polygons);
    this.count = this.polygons + (paths === undefined ? 0 : polygonCount(paths));
    let box: Box = polygons === undefined ? EMPTY_BOX : polygonBox(polygons.xy);
    const outline = emptyOutline();
    for (let n = this.polygons; n < this.count; n++) {
      this.locate(n, outline);
      box = unionBox(box, outlineBox(outline));
    }
    this.box = box;
  }

  /** Finds the vertices of shape n in the cell's frame; none for a path that covers nothing. */
  locate(n: number, outline: Outline): void {
    outline.dx = 0;
    outline.dy = 0;
    const polygons = this.#polygons;
    if (polygons !== undefined && n < this.polygons) {
      outline.xy = polygons.xy;
      outline.from = 2 * polygons.starts[n];
      outline.to = 2 * polygons.starts[n + 1];
      return;
    }
    const paths = this.#paths;
    if (paths === undefined) throw new RangeError(`No shape ${n} among ${this.count}.`);
    outline.xy = blockPathOutline(paths, n - this.polygons, this.#magnification);
    outline.from = 0;
    outline.to = outline.xy.length;
  }

  /** Numbers of the shapes whose boxes may meet a window of the cell's frame; undefined for all of them. */
  find(window: Box): number[] | undefined {
    const { box } = this;
    if (window[0] <= box[0] && window[1] <= box[1] && window[2] >= box[2] && window[3] >= box[3]) {
      return undefined;
    }
    const outline = emptyOutline();
    this.#tree ??= new BoxTree(this.count, (n) => {
      this.locate(n, outline);
      return outlineBox(outline);
    });
    return this.#tree.find(window);
  }
}

export const emptyOutline = (): Outline => ({ xy: new Int32Array(0), from: 0, to: 0, dx: 0, dy: 0 });

/** Box of an outline without its shift; empty for no vertices. */
export function outlineBox({ xy, from, to }: Outline): Box {
  let x0 = Infinity;
  let y0 = Infinity;
  let x1 = -Infinity;
  let y1 = -Infinity;
  for (let n = from; n < to; n += 2) {
    const x = xy[n];
    const y = xy[n + 1];
    if (x < x0) x0 = x;
    if (x > x1) x1 = x;
    if (y < y0) y0 = y;
    if (y > y1) y1 = y;
  }
  return [x0, y0, x1, y1];
}
