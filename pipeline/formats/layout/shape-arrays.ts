/** The repeated shapes of one drawn layer in one cell, kept as lattices; members are made as a window asks for them. */
import { type Box, EMPTY_BOX, unionBox } from '../../../shared/polygon.ts';
import type { ShapeArrayBlock } from '../layout.ts';
import { BoxTree } from './box-tree.ts';
import { type Lattice, LatticeCursor, latticeBox } from './lattice.ts';
import { latticeAt } from './reference-boxes.ts';
import { emptyOutline, type Outline, outlineBox, ShapeSet } from './shape-set.ts';

export class ShapeArrays {
  /** Box of all members in the cell's frame. */
  readonly box: Box;
  readonly #block: ShapeArrayBlock;
  readonly #shapes: ShapeSet;
  #tree: BoxTree | undefined;

  /** @param magnification of the cell in the layout as a whole, by which absolute widths are divided */
  constructor(block: ShapeArrayBlock, magnification: number) {
    this.#block = block;
    this.#shapes = new ShapeSet(block.polygons, block.paths, magnification);
    let box: Box = EMPTY_BOX;
    const outline = emptyOutline();
    for (let n = 0; n < this.#shapes.count; n++) box = unionBox(box, this.#boxOf(n, outline));
    this.box = box;
  }

  /** Number of arrays, not of their members. */
  get count(): number {
    return this.#shapes.count;
  }

  lattice(n: number): Lattice {
    const { polygonLattices, pathLattices } = this.#block;
    const { polygons } = this.#shapes;
    return n < polygons ? latticeAt(polygonLattices, n) : latticeAt(pathLattices, n - polygons);
  }

  /** Finds the vertices of member (0, 0) of array n in the cell's frame. */
  locate(n: number, outline: Outline): void {
    this.#shapes.locate(n, outline);
  }

  /** Sets `outline` to one member after the other whose box may meet a window of the cell's frame. */
  *membersIn(window: Box, outline: Outline): Generator<undefined> {
    const scratch = emptyOutline();
    this.#tree ??= new BoxTree(this.count, (n) => this.#boxOf(n, scratch));
    const found = this.#tree.find(window);
    const count = found?.length ?? this.count;
    for (let at = 0; at < count; at++) {
      const n = found?.[at] ?? at;
      this.#shapes.locate(n, outline);
      if (outline.to === outline.from) continue;
      const lattice = this.lattice(n);
      const cursor = new LatticeCursor(lattice, outlineBox(outline), window);
      while (cursor.next()) {
        outline.dx = cursor.column * lattice.ux + cursor.row * lattice.vx;
        outline.dy = cursor.column * lattice.uy + cursor.row * lattice.vy;
        yield;
      }
    }
  }

  #boxOf(n: number, outline: Outline): Box {
    this.#shapes.locate(n, outline);
    return latticeBox(this.lattice(n), outlineBox(outline));
  }
}
