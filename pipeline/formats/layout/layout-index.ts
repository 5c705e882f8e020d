/** What the window queries keep of a layout: boxes of cells and trees over shapes and references, made on demand. */
import { InputFault } from '../../../shared/errors.ts';
import { type Box, EMPTY_BOX, isEmptyBox, unionBox } from '../../../shared/polygon.ts';
import type { DrawnLayer, Layout, LayoutCell } from '../layout.ts';
import { BoxTree } from './box-tree.ts';
import { latticeBox } from './lattice.ts';
import { boxesOfReferences, latticeAt } from './reference-boxes.ts';
import { ShapeArrays } from './shape-arrays.ts';
import { ShapeSet } from './shape-set.ts';
import { transformBox, UmScale } from './transform-box.ts';

/** Boxes by drawn layer of a cell and all below it, in the cell's frame. */
export interface CellExtents {
  readonly boxes: ReadonlyMap<DrawnLayer, Box>;
  /** Of all drawn layers together. */
  readonly box: Box;
  /** Tree over the references of the cell, each with its whole lattice and all drawn layers. */
  references(): BoxTree;
}

/** Extents of the geometry of one cell at one magnification. */
export class CellGeometry implements CellExtents {
  readonly boxes: ReadonlyMap<DrawnLayer, Box>;
  readonly box: Box;
  readonly shapes: ReadonlyMap<DrawnLayer, ShapeSet>;
  readonly arrays: ReadonlyMap<DrawnLayer, ShapeArrays>;
  /** Boxes by drawn layer of the cell's own shapes alone. */
  readonly ownBoxes: ReadonlyMap<DrawnLayer, Box>;
  readonly #cell: LayoutCell;
  readonly #childBox: (target: number, magnification: number) => Box;
  #references: BoxTree | undefined;

  constructor(index: LayoutIndex, number: number, magnification: number) {
    const cell = index.cells[number];
    const child = (target: number, own: number) =>
      index.geometry(index.children[number][target], magnification * own);
    const shapes = new Map<DrawnLayer, ShapeSet>();
    const boxes = new Map<DrawnLayer, Box>();
    for (const drawn of new Set([...cell.polygons.keys(), ...cell.paths.keys()])) {
      const set = new ShapeSet(cell.polygons.get(drawn), cell.paths.get(drawn), magnification);
      shapes.set(drawn, set);
      if (!isEmptyBox(set.box)) boxes.set(drawn, set.box);
    }
    const arrays = new Map<DrawnLayer, ShapeArrays>();
    for (const [drawn, block] of cell.arrays) {
      const set = new ShapeArrays(block, magnification);
      arrays.set(drawn, set);
      if (!isEmptyBox(set.box)) boxes.set(drawn, unionBox(boxes.get(drawn) ?? EMPTY_BOX, set.box));
    }
    this.ownBoxes = new Map(boxes);
    boxesOfReferences(cell.references, boxes, (target, own) => child(target, own).boxes);
    this.#cell = cell;
    this.shapes = shapes;
    this.arrays = arrays;
    this.boxes = boxes;
    this.box = unionOf(boxes.values());
    this.#childBox = (target, own) => child(target, own).box;
    index.assertFinite(this.box, cell.name);
  }

  references(): BoxTree {
    this.#references ??= referenceTree(this.#cell, this.#childBox);
    return this.#references;
  }
}

/** Extents of the label anchors of one cell. */
class CellLabels implements CellExtents {
  readonly boxes: ReadonlyMap<DrawnLayer, Box>;
  readonly box: Box;
  readonly #cell: LayoutCell;
  readonly #childBox: (target: number) => Box;
  #references: BoxTree | undefined;

  constructor(index: LayoutIndex, number: number) {
    const cell = index.cells[number];
    const child = (target: number) => index.labels(index.children[number][target]);
    const boxes = new Map<DrawnLayer, Box>();
    for (const { drawn, xDbu, yDbu } of cell.labels) {
      boxes.set(drawn, unionBox(boxes.get(drawn) ?? EMPTY_BOX, [xDbu, yDbu, xDbu, yDbu]));
    }
    boxesOfReferences(cell.references, boxes, (target) => child(target).boxes);
    this.#cell = cell;
    this.boxes = boxes;
    this.box = unionOf(boxes.values());
    this.#childBox = (target) => child(target).box;
    index.assertFinite(this.box, cell.name);
  }

  references(): BoxTree {
    this.#references ??= referenceTree(this.#cell, this.#childBox);
    return this.#references;
  }
}

function referenceTree(cell: LayoutCell, childBox: (target: number, magnification: number) => Box): BoxTree {
  const { references } = cell;
  return new BoxTree(references.count, (n) => {
    const box = childBox(references.target[n], references.magnifications[n]);
    return latticeBox(latticeAt(references, n), transformBox(references.transforms, box, 6 * n));
  });
}

const unionOf = (boxes: Iterable<Box>): Box => {
  let all: Box = EMPTY_BOX;
  for (const box of boxes) all = unionBox(all, box);
  return all;
};

export class LayoutIndex {
  readonly layout: Layout;
  readonly scale: UmScale;
  readonly cells: readonly LayoutCell[];
  /** For each cell, the cell number of each of its reference targets. */
  readonly children: readonly Uint32Array[];
  readonly #numbers = new Map<string, number>();
  /** Cells whose extents depend on the magnification: they or a cell below hold an absolute width. */
  readonly #hasAbsoluteWidth: Uint8Array;
  /** By cell number, then by magnification where that matters. */
  readonly #geometry: Map<number, CellGeometry>[];
  readonly #labels: (CellLabels | undefined)[];

  constructor(layout: Layout) {
    this.layout = layout;
    this.scale = new UmScale(layout.dbuUm);
    this.cells = [...layout.cells.values()];
    this.cells.forEach((cell, number) => {
      this.#numbers.set(cell.name, number);
    });
    this.children = this.cells.map((cell) =>
      Uint32Array.from(cell.references.targets, (name) => this.numberOf(name)),
    );
    this.#geometry = this.cells.map(() => new Map());
    this.#labels = this.cells.map(() => undefined);
    this.#hasAbsoluteWidth = absoluteWidths(this.cells, this.children);
  }

  /** @throws RangeError for a name that is no cell of the layout */
  numberOf(name: string): number {
    const number = this.#numbers.get(name);
    if (number === undefined) throw new RangeError(`The layout ${this.layout.file} has no cell "${name}".`);
    return number;
  }

  geometry(cell: number, magnification: number): CellGeometry {
    const key = this.#hasAbsoluteWidth[cell] === 1 ? magnification : 1;
    let geometry = this.#geometry[cell].get(key);
    if (geometry === undefined) {
      geometry = new CellGeometry(this, cell, key);
      this.#geometry[cell].set(key, geometry);
    }
    return geometry;
  }

  labels(cell: number): CellExtents {
    this.#labels[cell] ??= new CellLabels(this, cell);
    return this.#labels[cell];
  }

  /** @throws InputFault where magnifications have carried a cell out of the range of numbers */
  assertFinite(box: Box, cell: string): void {
    if (isEmptyBox(box) && !box.some(Number.isNaN)) return;
    if (box.every((value) => Math.abs(value) < Number.MAX_SAFE_INTEGER)) return;
    throw new InputFault({
      tag: 'limit',
      file: this.layout.file,
      place: `cell "${cell}"`,
      expected: 'coordinates below 2^53 database units',
      found: 'a cell that reaches beyond',
      remedy: 'Correct the magnification of the references in it.',
    });
  }
}

function absoluteWidths(cells: readonly LayoutCell[], children: readonly Uint32Array[]): Uint8Array {
  const parents: number[][] = cells.map(() => []);
  children.forEach((targets, parent) => {
    for (const target of targets) parents[target].push(parent);
  });
  const marked = new Uint8Array(cells.length);
  const open: number[] = [];
  const mark = (cell: number) => {
    if (marked[cell] === 1) return;
    marked[cell] = 1;
    open.push(cell);
  };
  cells.forEach((cell, number) => {
    for (const block of cell.paths.values()) if (block.widthIsAbsolute.includes(1)) mark(number);
    for (const block of cell.arrays.values()) if (block.paths.widthIsAbsolute.includes(1)) mark(number);
  });
  for (let cell = open.pop(); cell !== undefined; cell = open.pop()) parents[cell].forEach(mark);
  return marked;
}

const indices = new WeakMap<Layout, LayoutIndex>();

/** The index of a layout, made at its first query and kept as long as the layout. */
export function indexOf(layout: Layout): LayoutIndex {
  let index = indices.get(layout);
  if (index === undefined) {
    index = new LayoutIndex(layout);
    indices.set(layout, index);
  }
  return index;
}
