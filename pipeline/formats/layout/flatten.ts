/**
 * Window queries on a layout: what lies in a rectangle of the die, with the hierarchy kept and references opened
 * only as far as the window reaches. All coordinates asked and given are die micrometres.
 */
import type { Affine2 } from '../../../shared/affine.ts';
import { type Box, boxesMeet, growBox, intersectBox, isEmptyBox } from '../../../shared/polygon.ts';
import type { DrawnLayer, FlatShape, Layout } from '../layout.ts';
import { indexOf, type LayoutIndex } from './layout-index.ts';
import { cellPathOf, type Placement, placementsInWindow, type Sought, windowIn } from './placements.ts';
import { emptyOutline, type Outline } from './shape-set.ts';
import { transformBox, type UmScale } from './transform-box.ts';

export { boundsUm } from './bounds.ts';
export { countShapes, type ShapeCounts } from './counts.ts';

export interface WindowOptions {
  /** Whether references to a cell are opened; a cell that is not opened gives nothing. Default: all are. */
  readonly opens?: (cellName: string) => boolean;
}

export interface FlatLabel {
  readonly text: string;
  /** Layer/texttype. */
  readonly drawn: DrawnLayer;
  readonly xUm: number;
  readonly yUm: number;
  /** Names of the cells from the top cell down to the one that holds the label. */
  readonly cellPath: readonly string[];
}

export interface CellInstance {
  readonly cell: string;
  /** Names of the cells from the top cell down to this one. */
  readonly cellPath: readonly string[];
  /** Cell to top cell, both in database units. */
  readonly transform: Affine2;
  readonly magnification: number;
  /** Box of the cell's geometry, as its parts' boxes give it. */
  readonly boxUm: Box;
}

/** Takes a shape whose vertices are xyUm[0 .. 2 * vertices); the array is used again for the next shape. */
export type VisitShape = (drawn: DrawnLayer, xyUm: Float64Array, vertices: number) => void;

/** Margin of the search in database units, far above rounding and far below any drawing grid. */
const SEARCH_MARGIN_DBU = 1e-3;

/**
 * Shapes on the drawn layers that meet or touch the window, paths as their outlines: every shape with a point in the
 * window, and none whose bounding box lies outside. Where all references keep the axes, that is every shape whose
 * bounding box meets the window. Shapes come whole, not clipped, cell by cell in depth-first order.
 *
 * @throws RangeError when the layout has no cell `top`
 */
export function* shapesInWindow(
  layout: Layout,
  top: string,
  windowUm: Box,
  drawn: ReadonlySet<DrawnLayer>,
  options: WindowOptions = {},
): Generator<FlatShape> {
  const { scale } = indexOf(layout);
  for (const { layer, outline, placement } of outlinesInWindow(layout, top, windowUm, drawn, options)) {
    const xyUm = new Float64Array(outline.to - outline.from);
    const boxUm = toUm(outline, placement.transform, scale, xyUm);
    if (boxesMeet(boxUm, windowUm)) yield { drawn: layer, xyUm, boxUm };
  }
}

/** The same shapes in the same order as `shapesInWindow`, without an object for each. */
export function visitShapesInWindow(
  layout: Layout,
  top: string,
  windowUm: Box,
  drawn: ReadonlySet<DrawnLayer>,
  visit: VisitShape,
  options: WindowOptions = {},
): void {
  const { scale } = indexOf(layout);
  let xyUm = new Float64Array(64);
  for (const { layer, outline, placement } of outlinesInWindow(layout, top, windowUm, drawn, options)) {
    const length = outline.to - outline.from;
    if (length > xyUm.length) xyUm = new Float64Array(2 * length);
    const boxUm = toUm(outline, placement.transform, scale, xyUm);
    if (boxesMeet(boxUm, windowUm)) visit(layer, xyUm, length >> 1);
  }
}

interface Candidate {
  layer: DrawnLayer;
  readonly outline: Outline;
  placement: Placement;
}

/** Shapes that may meet the window, not empty, in their cells' frames. Gives one object again and again. */
function* outlinesInWindow(
  layout: Layout,
  top: string,
  windowUm: Box,
  drawn: ReadonlySet<DrawnLayer>,
  options: WindowOptions,
): Generator<Candidate> {
  const index = indexOf(layout);
  const windowDbu = searchWindow(index, top, windowUm);
  const outline = emptyOutline();
  let candidate: Candidate | undefined;
  for (const placement of geometryPlacements(index, top, windowDbu, drawn, options)) {
    const { shapes, arrays } = index.geometry(placement.cell, placement.magnification);
    if (shapes.size + arrays.size === 0) continue;
    const window = windowIn(placement, windowDbu);
    for (const layer of drawn) {
      candidate ??= { layer, outline, placement };
      candidate.layer = layer;
      candidate.placement = placement;
      const set = shapes.get(layer);
      if (set !== undefined) {
        const found = set.find(window);
        const count = found?.length ?? set.count;
        for (let n = 0; n < count; n++) {
          set.locate(found?.[n] ?? n, outline);
          if (outline.to > outline.from) yield candidate;
        }
      }
      const members = arrays.get(layer)?.membersIn(window, outline);
      if (members === undefined) continue;
      for (const _ of members) yield candidate;
    }
  }
}

/**
 * Labels whose anchors lie in the window or on its edge.
 *
 * @param drawn layer/texttype pairs; undefined: all
 * @throws RangeError when the layout has no cell `top`
 */
export function* labelsInWindow(
  layout: Layout,
  top: string,
  windowUm: Box,
  drawn?: ReadonlySet<DrawnLayer>,
  options: WindowOptions = {},
): Generator<FlatLabel> {
  const index = indexOf(layout);
  const { scale } = index;
  const number = index.numberOf(top);
  const sought: Sought = { extents: (cell) => index.labels(cell), drawn, opens: options.opens };
  const windowDbu = finiteWindow(scale, windowUm, index.labels(number).box);
  if (isEmptyBox(windowDbu)) return;
  for (const placement of placementsInWindow(index, number, windowDbu, sought)) {
    const [a, b, tx, c, d, ty] = placement.transform;
    let cellPath: string[] | undefined;
    for (const label of index.cells[placement.cell].labels) {
      if (drawn !== undefined && !drawn.has(label.drawn)) continue;
      const xUm = scale.toUm(a * label.xDbu + b * label.yDbu + tx);
      const yUm = scale.toUm(c * label.xDbu + d * label.yDbu + ty);
      if (!boxesMeet([xUm, yUm, xUm, yUm], windowUm)) continue;
      cellPath ??= cellPathOf(index, placement);
      yield { text: label.text, drawn: label.drawn, xUm, yUm, cellPath };
    }
  }
}

/**
 * Placed cells, the top cell among them, whose geometry's boxes meet the window. Cells without geometry are none.
 *
 * @throws RangeError when the layout has no cell `top`
 */
export function* cellInstancesInWindow(
  layout: Layout,
  top: string,
  windowUm: Box,
  options: WindowOptions = {},
): Generator<CellInstance> {
  const index = indexOf(layout);
  const windowDbu = searchWindow(index, top, windowUm);
  for (const placement of geometryPlacements(index, top, windowDbu, undefined, options)) {
    const { cell, transform, magnification } = placement;
    const box = transformBox(transform, index.geometry(cell, magnification).box);
    const boxUm = index.scale.boxToUm(box);
    if (!boxesMeet(boxUm, windowUm)) continue;
    const cellPath = cellPathOf(index, placement);
    yield { cell: index.cells[cell].name, cellPath, transform, magnification, boxUm };
  }
}

function* geometryPlacements(
  index: LayoutIndex,
  top: string,
  windowDbu: Box,
  drawn: ReadonlySet<DrawnLayer> | undefined,
  options: WindowOptions,
): Generator<Placement> {
  if (isEmptyBox(windowDbu)) return;
  yield* placementsInWindow(index, index.numberOf(top), windowDbu, {
    extents: (cell, magnification) => index.geometry(cell, magnification),
    drawn,
    opens: options.opens,
  });
}

const searchWindow = (index: LayoutIndex, top: string, windowUm: Box): Box =>
  finiteWindow(index.scale, windowUm, index.geometry(index.numberOf(top), 1).box);

/** A window in database units, cut to what there is, so that a window without bounds stays countable. */
function finiteWindow(scale: UmScale, windowUm: Box, extent: Box): Box {
  if (isEmptyBox(extent)) return extent;
  return intersectBox(growBox(scale.boxToDbu(windowUm), SEARCH_MARGIN_DBU), growBox(extent, 1));
}

/** Writes the image of an outline into `xyUm`. @returns its box */
function toUm(outline: Outline, transform: Affine2, scale: UmScale, xyUm: Float64Array): Box {
  const { xy, from, to, dx, dy } = outline;
  const [a, b, tx, c, d, ty] = transform;
  let x0 = Infinity;
  let y0 = Infinity;
  let x1 = -Infinity;
  let y1 = -Infinity;
  for (let n = from, at = 0; n < to; n += 2) {
    const px = xy[n] + dx;
    const py = xy[n + 1] + dy;
    const x = scale.toUm(a * px + b * py + tx);
    const y = scale.toUm(c * px + d * py + ty);
    xyUm[at++] = x;
    xyUm[at++] = y;
    if (x < x0) x0 = x;
    if (x > x1) x1 = x;
    if (y < y0) y0 = y;
    if (y > y1) y1 = y;
  }
  return [x0, y0, x1, y1];
}
