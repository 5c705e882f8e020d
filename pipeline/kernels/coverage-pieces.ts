/** The pieces of edges that a group of overlapping shapes has in one pixel row. */
import { enlarged } from './coverage-shapes.ts';

/** Insertion sort wins on short lists. */
const SHORT = 24;

/**
 * Columns of a table, `count` long: each piece runs from (uTop, yTop) down to (uBottom, yBottom), u in pixels from the
 * left border of the grid, y from 0 (top of the row) to 1.
 */
export class Pieces {
  count = 0;
  uTop = new Float64Array(256);
  uBottom = new Float64Array(256);
  yTop = new Float64Array(256);
  yBottom = new Float64Array(256);
  /** Which polygon the piece belongs to. */
  owner = new Int32Array(256);
  /** +1 where the polygon runs down the piece, -1 where it runs up. */
  sense = new Int8Array(256);
  /** True when any piece is not upright. */
  slanted = false;
  #order = new Int32Array(256);
  #ends = new Float64Array(512);

  add(uTop: number, yTop: number, uBottom: number, yBottom: number, owner: number, sense: number): void {
    const piece = this.count++;
    if (piece === this.owner.length) this.#enlarge();
    this.uTop[piece] = uTop;
    this.uBottom[piece] = uBottom;
    this.yTop[piece] = yTop;
    this.yBottom[piece] = yBottom;
    this.owner[piece] = owner;
    this.sense[piece] = sense;
    if (uTop !== uBottom) this.slanted = true;
  }

  clear(): void {
    this.count = 0;
    this.slanted = false;
  }

  /** Piece numbers from left to right by their middle; holds until the next call. */
  fromLeft(): Int32Array {
    const { uTop, uBottom, count } = this;
    const order = this.#order.subarray(0, count);
    for (let n = 0; n < count; n++) order[n] = n;
    if (count > SHORT) return order.sort((a, b) => uTop[a]! + uBottom[a]! - uTop[b]! - uBottom[b]!);
    for (let n = 1; n < count; n++) {
      const piece = order[n]!;
      const key = uTop[piece]! + uBottom[piece]!;
      let at = n;
      for (; at > 0 && uTop[order[at - 1]!]! + uBottom[order[at - 1]!]! > key; at--)
        order[at] = order[at - 1]!;
      order[at] = piece;
    }
    return order;
  }

  /** Heights at which pieces begin or end, downward, each once; holds until the next call. */
  levels(): Float64Array {
    const ends = this.#ends;
    // Most pieces reach from 0 to 1: leaving out the heights met just before keeps the sort short.
    let distinct = 0;
    const note = (y: number): void => {
      let at = Math.max(0, distinct - SHORT);
      while (at < distinct && ends[at] !== y) at++;
      if (at === distinct) ends[distinct++] = y;
    };
    for (let n = 0; n < this.count; n++) {
      note(this.yTop[n]!);
      note(this.yBottom[n]!);
    }
    const sorted = ends.subarray(0, distinct).sort();
    let kept = 0;
    for (let n = 0; n < distinct; n++) if (n === 0 || sorted[n] !== sorted[n - 1]) ends[kept++] = sorted[n]!;
    return ends.subarray(0, kept);
  }

  #enlarge(): void {
    this.uTop = enlarged(this.uTop, Float64Array);
    this.uBottom = enlarged(this.uBottom, Float64Array);
    this.yTop = enlarged(this.yTop, Float64Array);
    this.yBottom = enlarged(this.yBottom, Float64Array);
    this.owner = enlarged(this.owner, Int32Array);
    this.sense = enlarged(this.sense, Int8Array);
    this.#order = enlarged(this.#order, Int32Array);
    this.#ends = enlarged(this.#ends, Float64Array);
  }
}
