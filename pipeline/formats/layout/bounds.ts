/** The true extent of a layout's geometry. */
import { type Box, EMPTY_BOX, polygonBox, unionBox } from '../../../shared/polygon.ts';
import type { DrawnLayer, Layout } from '../layout.ts';
import { HullBuilder } from './convex-hull.ts';
import { type Lattice, latticeBox } from './lattice.ts';
import { type CellGeometry, indexOf, type LayoutIndex } from './layout-index.ts';
import { keepsAxes } from './orientation.ts';
import { latticeAt } from './reference-boxes.ts';
import { emptyOutline } from './shape-set.ts';
import { transformBox } from './transform-box.ts';

/**
 * Bounding box of a cell and all below it, of the shapes alone: labels do not widen it, paths count with their
 * true outlines.
 *
 * @param drawn undefined: all drawn layers
 * @returns an empty box (see `isEmptyBox`) where there is no shape
 * @throws RangeError when the layout has no cell `top`
 */
export function boundsUm(layout: Layout, top: string, drawn?: ReadonlySet<DrawnLayer>): Box {
  const index = indexOf(layout);
  return index.scale.boxToUm(new TrueBounds(index, drawn).box(index.numberOf(top), 1));
}

/**
 * The boxes that the index keeps are exact as long as references keep the axes. Below a free angle the box of a
 * turned box is too wide; there the convex hull of the cell is turned instead, whose box is exact at any angle.
 */
class TrueBounds {
  readonly #index: LayoutIndex;
  readonly #drawn: ReadonlySet<DrawnLayer> | undefined;
  readonly #keepsAxesBelow = new Map<number, boolean>();
  readonly #boxes = new Map<CellGeometry, Box>();
  readonly #hulls = new Map<CellGeometry, readonly number[]>();

  constructor(index: LayoutIndex, drawn: ReadonlySet<DrawnLayer> | undefined) {
    this.#index = index;
    this.#drawn = drawn;
  }

  /** In the cell's frame, database units. */
  box(cell: number, magnification: number): Box {
    const geometry = this.#index.geometry(cell, magnification);
    let box = this.#boxes.get(geometry);
    if (box !== undefined) return box;
    if (this.#axesKept(cell)) {
      box = this.#union(geometry.boxes);
    } else {
      box = this.#union(geometry.ownBoxes);
      const { references } = this.#index.cells[cell];
      for (let n = 0; n < references.count; n++) {
        const child = this.#index.children[cell][references.target[n]];
        const below = magnification * references.magnifications[n];
        const image = keepsAxes(references.transforms, 6 * n)
          ? transformBox(references.transforms, this.box(child, below), 6 * n)
          : polygonBox(transformed(references.transforms, 6 * n, this.#hull(child, below)));
        box = unionBox(box, latticeBox(latticeAt(references, n), image));
      }
    }
    this.#boxes.set(geometry, box);
    return box;
  }

  #hull(cell: number, magnification: number): readonly number[] {
    const geometry = this.#index.geometry(cell, magnification);
    let hull = this.#hulls.get(geometry);
    if (hull !== undefined) return hull;
    const points = new HullBuilder();
    const outline = emptyOutline();
    for (const [drawn, set] of geometry.shapes) {
      if (this.#drawn !== undefined && !this.#drawn.has(drawn)) continue;
      for (let n = 0; n < set.count; n++) {
        set.locate(n, outline);
        for (let at = outline.from; at < outline.to; at += 2) points.add(outline.xy[at], outline.xy[at + 1]);
      }
    }
    for (const [drawn, set] of geometry.arrays) {
      if (this.#drawn !== undefined && !this.#drawn.has(drawn)) continue;
      for (let n = 0; n < set.count; n++) {
        set.locate(n, outline);
        addCorners(points, set.lattice(n), outline.xy.subarray(outline.from, outline.to));
      }
    }
    const { references } = this.#index.cells[cell];
    for (let n = 0; n < references.count; n++) {
      const child = this.#index.children[cell][references.target[n]];
      const below = this.#hull(child, magnification * references.magnifications[n]);
      const image = transformed(references.transforms, 6 * n, below);
      addCorners(points, latticeAt(references, n), image);
    }
    hull = points.finish();
    this.#hulls.set(geometry, hull);
    return hull;
  }

  #union(boxes: ReadonlyMap<DrawnLayer, Box>): Box {
    let box: Box = EMPTY_BOX;
    for (const drawn of this.#drawn ?? boxes.keys()) box = unionBox(box, boxes.get(drawn) ?? EMPTY_BOX);
    return box;
  }

  /** Whether all references in a cell and below keep the axes. */
  #axesKept(cell: number): boolean {
    let kept = this.#keepsAxesBelow.get(cell);
    if (kept === undefined) {
      const { references } = this.#index.cells[cell];
      kept = true;
      for (let n = 0; n < references.count && kept; n++) kept = keepsAxes(references.transforms, 6 * n);
      kept &&= this.#index.children[cell].every((child) => this.#axesKept(child));
      this.#keepsAxesBelow.set(cell, kept);
    }
    return kept;
  }
}

/** Adds the outermost members of a lattice, which are its corners. */
function addCorners(points: HullBuilder, lattice: Lattice, xy: ArrayLike<number>): void {
  const { columns, rows, ux, uy, vx, vy } = lattice;
  for (const column of new Set([0, columns - 1])) {
    for (const row of new Set([0, rows - 1])) {
      for (let at = 0; at < xy.length; at += 2) {
        points.add(xy[at] + column * ux + row * vx, xy[at + 1] + column * uy + row * vy);
      }
    }
  }
}

function transformed(m: ArrayLike<number>, at: number, xy: readonly number[]): number[] {
  const image: number[] = [];
  for (let n = 0; n < xy.length; n += 2) {
    image.push(
      m[at] * xy[n] + m[at + 1] * xy[n + 1] + m[at + 2],
      m[at + 3] * xy[n] + m[at + 4] * xy[n + 1] + m[at + 5],
    );
  }
  return image;
}
