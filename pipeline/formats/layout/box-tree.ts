/** Search of boxes by window: a plain list while few, a packed tree (flatbush) when many. */
import Flatbush from 'flatbush';
import { type Box, EMPTY_BOX, unionBox } from '../../../shared/polygon.ts';

/** Up to this many boxes a scan is as fast as a tree. */
const FEW = 48;
const INT32_LIMIT = 2 ** 31 - 2;

export class BoxTree {
  readonly count: number;
  readonly #all: Box;
  readonly #boxes: Float64Array | undefined;
  readonly #tree: Flatbush | undefined;

  /** @param boxOf box n; an empty one is never found */
  constructor(count: number, boxOf: (n: number) => Box) {
    this.count = count;
    if (count <= FEW) {
      const boxes = new Float64Array(4 * count);
      for (let n = 0; n < count; n++) boxes.set(boxOf(n), 4 * n);
      this.#boxes = boxes;
      this.#all = EMPTY_BOX;
      return;
    }
    let all: Box = EMPTY_BOX;
    for (let n = 0; n < count; n++) all = unionBox(all, boxOf(n));
    this.#all = all;
    // Boxes rounded outwards to whole units take half the room; every hit is checked exactly later.
    const fitsInt32 = all.every((value) => Math.abs(value) < INT32_LIMIT);
    const tree = new Flatbush(count, 16, fitsInt32 ? Int32Array : Float64Array);
    for (let n = 0; n < count; n++) {
      const [x0, y0, x1, y1] = boxOf(n);
      // Infinities would spoil the sorting: an empty box lies at a corner instead, and callers drop it.
      if (x0 <= x1) tree.add(Math.floor(x0), Math.floor(y0), Math.ceil(x1), Math.ceil(y1));
      else tree.add(Math.floor(all[0]), Math.floor(all[1]));
    }
    tree.finish();
    this.#tree = tree;
  }

  /** Numbers of the boxes that may meet the window; undefined for all of them. */
  find(window: Box): number[] | undefined {
    const [x0, y0, x1, y1] = window;
    if (this.#tree !== undefined) {
      const all = this.#all;
      if (x0 <= all[0] && y0 <= all[1] && x1 >= all[2] && y1 >= all[3]) return undefined;
      return this.#tree.search(x0, y0, x1, y1);
    }
    const boxes = this.#boxes;
    if (boxes === undefined) return undefined;
    const found: number[] = [];
    for (let n = 0, at = 0; n < this.count; n++, at += 4) {
      if (boxes[at] <= x1 && boxes[at + 1] <= y1 && boxes[at + 2] >= x0 && boxes[at + 3] >= y0) found.push(n);
    }
    return found;
  }
}
