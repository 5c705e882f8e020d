/**
 * Repetitions: the same element at many places. Types 1, 2, 3, 8 and 9 are lattices, the others lists of places.
 *
 * @source SEMI P39 (OASIS), section 7.6. A count n is stored as n - 2; lists hold the n - 1 displacements between
 * neighbours (one public reader takes n of them; two others, and real files, have n - 1).
 */
import { FETCH_AGAIN, type OasisCursor } from './oasis-cursor.ts';

const LARGEST = Number.MAX_SAFE_INTEGER;
const MAXIMUM_COUNT = 2 ** 32 - 1;

export class Repetition {
  isDefined = false;
  /** Whether the members form a lattice; else they lie at `offsets`. */
  isLattice = true;
  members = 1;
  columns = 1;
  rows = 1;
  /** Column step x, y and row step x, y. */
  readonly steps: [number, number, number, number] = [0, 0, 0, 0];
  /** Shift of each member, x0, y0, x1, y1 ...; the first is (0, 0). */
  offsets = new Float64Array(32);
  /** Extent of the shifts. */
  x0 = 0;
  y0 = 0;
  x1 = 0;
  y1 = 0;

  /** Repetitions read so far, by type. */
  readonly counts = new Uint32Array(12);

  /** Reads a repetition, or keeps the last one for type 0. */
  read(cursor: OasisCursor): void {
    const type = cursor.unsigned();
    if (type < 12) this.counts[type]++;
    if (type === 0) {
      if (!this.isDefined) {
        const expected = 'an earlier repetition in the cell for type 0 to take up';
        cursor.fail('malformed', expected, 'none', FETCH_AGAIN);
      }
      return;
    }
    if (type > 11) cursor.fail('malformed', 'a repetition of type 0 to 11', `type ${type}`, FETCH_AGAIN);
    this.isDefined = false;
    this.isLattice = type <= 3 || type === 8 || type === 9;
    if (this.isLattice) this.#lattice(cursor, type);
    else this.#list(cursor, type);
    if (!(this.x0 >= -LARGEST && this.y0 >= -LARGEST && this.x1 <= LARGEST && this.y1 <= LARGEST)) {
      cursor.fail('limit', 'repetitions that reach below 2^53', 'farther ones', FETCH_AGAIN);
    }
    this.isDefined = true;
  }

  #count(cursor: OasisCursor): number {
    const count = cursor.unsigned() + 2;
    if (count > MAXIMUM_COUNT) {
      cursor.fail('limit', `at most ${MAXIMUM_COUNT} members along a repetition`, `${count}`, FETCH_AGAIN);
    }
    return count;
  }

  #lattice(cursor: OasisCursor, type: number): void {
    const hasColumns = type !== 3;
    const hasRows = type === 1 || type === 3 || type === 8;
    const { steps } = this;
    steps.fill(0);
    this.columns = hasColumns ? this.#count(cursor) : 1;
    this.rows = hasRows ? this.#count(cursor) : 1;
    if (type >= 8) {
      cursor.delta();
      steps[0] = cursor.dx;
      steps[1] = cursor.dy;
      if (hasRows) {
        cursor.delta();
        steps[2] = cursor.dx;
        steps[3] = cursor.dy;
      }
    } else {
      if (hasColumns) steps[0] = cursor.unsigned();
      if (hasRows) steps[3] = cursor.unsigned();
    }
    this.members = this.columns * this.rows;
    const cx = (this.columns - 1) * steps[0];
    const cy = (this.columns - 1) * steps[1];
    const rx = (this.rows - 1) * steps[2];
    const ry = (this.rows - 1) * steps[3];
    this.x0 = Math.min(cx, 0) + Math.min(rx, 0);
    this.y0 = Math.min(cy, 0) + Math.min(ry, 0);
    this.x1 = Math.max(cx, 0) + Math.max(rx, 0);
    this.y1 = Math.max(cy, 0) + Math.max(ry, 0);
  }

  #list(cursor: OasisCursor, type: number): void {
    const members = this.#count(cursor);
    cursor.count(members - 1, 'displacements of a repetition');
    const grid = type === 5 || type === 7 || type === 11 ? cursor.unsigned() : 1;
    if (2 * members > this.offsets.length) this.offsets = new Float64Array(3 * members);
    const { offsets } = this;
    offsets[0] = 0;
    offsets[1] = 0;
    let x = 0;
    let y = 0;
    let x0 = 0;
    let y0 = 0;
    let x1 = 0;
    let y1 = 0;
    for (let at = 2; at < 2 * members; at += 2) {
      if (type <= 5) x += grid * cursor.unsigned();
      else if (type <= 7) y += grid * cursor.unsigned();
      else {
        cursor.delta();
        x += grid * cursor.dx;
        y += grid * cursor.dy;
      }
      offsets[at] = x;
      offsets[at + 1] = y;
      if (x < x0) x0 = x;
      else if (x > x1) x1 = x;
      if (y < y0) y0 = y;
      else if (y > y1) y1 = y;
    }
    this.members = members;
    this.x0 = x0;
    this.y0 = y0;
    this.x1 = x1;
    this.y1 = y1;
  }

  /** Writes the shifts of all members into `offsets`. The caller has made sure that there is room for so many. */
  openOut(): void {
    if (!this.isLattice) return;
    if (2 * this.members > this.offsets.length) this.offsets = new Float64Array(2 * this.members);
    const [ux, uy, vx, vy] = this.steps;
    let at = 0;
    for (let row = 0; row < this.rows; row++) {
      for (let column = 0; column < this.columns; column++) {
        // Adding 0 turns -0 into 0.
        this.offsets[at++] = column * ux + row * vx + 0;
        this.offsets[at++] = column * uy + row * vy + 0;
      }
    }
  }
}
