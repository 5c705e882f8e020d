/** Walks the placements of cells that meet a window, depth first, opening only what lies in it. */
import type { Affine2 } from '../../../shared/affine.ts';
import { IDENTITY2, invert2 } from '../../../shared/affine.ts';
import { type Box, boxesMeet, EMPTY_BOX, isEmptyBox, unionBox } from '../../../shared/polygon.ts';
import type { DrawnLayer, ReferenceBlock } from '../layout.ts';
import { LatticeCursor } from './lattice.ts';
import type { CellExtents, LayoutIndex } from './layout-index.ts';
import { latticeAt } from './reference-boxes.ts';
import { composeAt, transformBox } from './transform-box.ts';

/** One cell where one chain of references puts it. */
export interface Placement {
  readonly cell: number;
  /** Cell to top cell, database units. */
  readonly transform: Affine2;
  readonly magnification: number;
  readonly parent: Placement | undefined;
}

/** What a walk looks for: which extents count, on which drawn layers, and which cells it opens. */
export interface Sought {
  extents(cell: number, magnification: number): CellExtents;
  /** Undefined: all. */
  readonly drawn: ReadonlySet<DrawnLayer> | undefined;
  /** Whether references to a cell are opened; undefined: all are. */
  readonly opens: ((cellName: string) => boolean) | undefined;
}

/** Names of the cells from the top cell down to a placement. */
export function cellPathOf(index: LayoutIndex, placement: Placement): string[] {
  const names: string[] = [];
  for (let at: Placement | undefined = placement; at !== undefined; at = at.parent) {
    names.push(index.cells[at.cell].name);
  }
  return names.reverse();
}

/** The window in the frame of a placed cell: the smallest box that covers it there. */
export const windowIn = (placement: Placement, windowDbu: Box): Box =>
  transformBox(invert2(placement.transform), windowDbu);

/**
 * All placements below and including the top cell whose extents meet the window.
 *
 * @param windowDbu finite, in the frame of the top cell
 */
export function* placementsInWindow(
  index: LayoutIndex,
  top: number,
  windowDbu: Box,
  sought: Sought,
): Generator<Placement> {
  const walk = new Walk(index, windowDbu, sought);
  const root: Placement = { cell: top, transform: IDENTITY2, magnification: 1, parent: undefined };
  if (!boxesMeet(walk.boxOf(top, 1), windowDbu)) return;
  yield root;
  const stack = [new Frame(walk, root)];
  while (stack.length > 0) {
    const child = stack[stack.length - 1].next();
    if (child === undefined) {
      stack.pop();
      continue;
    }
    yield child;
    if (index.cells[child.cell].references.count > 0) stack.push(new Frame(walk, child));
  }
}

/** What all frames of one walk share. */
class Walk {
  readonly index: LayoutIndex;
  readonly windowDbu: Box;
  readonly #sought: Sought;
  readonly #boxes = new Map<CellExtents, Box>();
  readonly #opened: (boolean | undefined)[] = [];

  constructor(index: LayoutIndex, windowDbu: Box, sought: Sought) {
    this.index = index;
    this.windowDbu = windowDbu;
    this.#sought = sought;
  }

  extents(cell: number, magnification: number): CellExtents {
    return this.#sought.extents(cell, magnification);
  }

  /** Box of what is sought in a cell and below, in the cell's frame. */
  boxOf(cell: number, magnification: number): Box {
    const extents = this.extents(cell, magnification);
    const { drawn } = this.#sought;
    if (drawn === undefined) return extents.box;
    let box = this.#boxes.get(extents);
    if (box === undefined) {
      box = EMPTY_BOX;
      for (const layer of drawn) box = unionBox(box, extents.boxes.get(layer) ?? EMPTY_BOX);
      this.#boxes.set(extents, box);
    }
    return box;
  }

  opens(cell: number): boolean {
    if (this.#sought.opens === undefined) return true;
    this.#opened[cell] ??= this.#sought.opens(this.index.cells[cell].name);
    return this.#opened[cell];
  }
}

/** The references of one placement that are still to be opened. */
class Frame {
  readonly #walk: Walk;
  readonly #placement: Placement;
  readonly #references: ReferenceBlock;
  readonly #children: Uint32Array;
  readonly #window: Box;
  /** Undefined: all references. */
  readonly #candidates: number[] | undefined;
  #next = 0;
  #reference = -1;
  #cursor: LatticeCursor | undefined;

  constructor(walk: Walk, placement: Placement) {
    const { index, windowDbu } = walk;
    this.#walk = walk;
    this.#placement = placement;
    this.#references = index.cells[placement.cell].references;
    this.#children = index.children[placement.cell];
    this.#window = windowIn(placement, windowDbu);
    this.#candidates = walk.extents(placement.cell, placement.magnification).references().find(this.#window);
  }

  next(): Placement | undefined {
    for (;;) {
      while (this.#cursor?.next()) {
        const placement = this.#member(this.#cursor.column, this.#cursor.row);
        const box = this.#walk.boxOf(placement.cell, placement.magnification);
        if (isVanishing(placement.transform)) continue;
        if (boxesMeet(transformBox(placement.transform, box), this.#walk.windowDbu)) return placement;
      }
      if (this.#next === (this.#candidates?.length ?? this.#references.count)) return undefined;
      this.#reference = this.#candidates?.[this.#next] ?? this.#next;
      this.#next++;
      this.#cursor = this.#open(this.#reference);
    }
  }

  #open(reference: number): LatticeCursor | undefined {
    const { target, magnifications, transforms } = this.#references;
    const cell = this.#children[target[reference]];
    if (!this.#walk.opens(cell)) return undefined;
    const magnification = this.#placement.magnification * magnifications[reference];
    const box = transformBox(transforms, this.#walk.boxOf(cell, magnification), 6 * reference);
    if (isEmptyBox(box)) return undefined;
    return new LatticeCursor(latticeAt(this.#references, reference), box, this.#window);
  }

  #member(column: number, row: number): Placement {
    const { target, magnifications, transforms, stepsDbu } = this.#references;
    const n = this.#reference;
    const parent = this.#placement;
    const transform = composeAt(parent.transform, transforms, 6 * n);
    const shift = this.#shift(stepsDbu, 4 * n, column, row);
    return {
      cell: this.#children[target[n]],
      transform:
        column === 0 && row === 0
          ? transform
          : [
              transform[0],
              transform[1],
              transform[2] + shift[0],
              transform[3],
              transform[4],
              transform[5] + shift[1],
            ],
      magnification: parent.magnification * magnifications[n],
      parent,
    };
  }

  /** Shift of a lattice member in the top cell's frame. */
  #shift(steps: Float64Array, at: number, column: number, row: number): readonly [number, number] {
    const x = column * steps[at] + row * steps[at + 2];
    const y = column * steps[at + 1] + row * steps[at + 3];
    const [a, b, , c, d] = this.#placement.transform;
    return [a * x + b * y, c * x + d * y];
  }
}

/** Whether magnifications have shrunk a cell to a point, whose map has no inverse among the doubles. */
const isVanishing = ([a, b, , c, d]: Affine2): boolean => !(Math.abs(a * d - b * c) > 1e-200);
