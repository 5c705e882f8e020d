/**
 * Sweep over the pieces of edges that lie in one pixel row: the row is cut into bands at every end and every crossing,
 * so that inside a band the edges stand in one order from left to right; walking that order with the winding of each
 * polygon gives the covered spans, each a trapezoid whose exact area goes into the row.
 *
 * @source Band sweep after Bentley and Ottmann, "Algorithms for reporting and counting geometric intersections",
 * IEEE Transactions on Computers C-28 (1979) 643; here crossings are found band by band.
 */
import type { Pieces } from './coverage-pieces.ts';
import { addRightOfLine, type CoverageRow } from './coverage-row.ts';
import { enlarged } from './coverage-shapes.ts';

/** Edges out of order by less than this (pixels) are taken as touching: the area in question is below it too. */
const TOUCHING = 1e-10;

export class BandSweep {
  readonly #row: CoverageRow;
  /** Winding per owner, all zero between bands. */
  readonly #winding: Int32Array;
  /** The pieces of the present band, and where they cross its top and its bottom. */
  #active = new Int32Array(256);
  #atTop = new Float64Array(256);
  #atBottom = new Float64Array(256);
  #crossings = new Float64Array(64);

  /** @param owners how many polygons there are; pieces name their polygon by a number below it. */
  constructor(row: CoverageRow, owners: number) {
    this.#row = row;
    this.#winding = new Int32Array(owners);
  }

  run(pieces: Pieces): void {
    while (this.#active.length < pieces.count) {
      this.#active = enlarged(this.#active, Int32Array);
      this.#atTop = enlarged(this.#atTop, Float64Array);
      this.#atBottom = enlarged(this.#atBottom, Float64Array);
    }
    const order = pieces.fromLeft();
    const levels = pieces.levels();
    for (let n = 0; n + 1 < levels.length; n++) this.#band(pieces, order, levels[n]!, levels[n + 1]!);
  }

  #band(pieces: Pieces, order: Int32Array, top: number, bottom: number): void {
    const atTop = this.#atTop;
    const atBottom = this.#atBottom;
    const active = this.#active;
    let count = 0;
    for (const piece of order) {
      const yTop = pieces.yTop[piece]!;
      const yBottom = pieces.yBottom[piece]!;
      if (yTop > top || yBottom < bottom) continue;
      const uTop = pieces.uTop[piece]!;
      const step = pieces.uBottom[piece]! - uTop;
      const upper = yTop === top ? uTop : uTop + step * ((top - yTop) / (yBottom - yTop));
      const lower = yBottom === bottom ? uTop + step : uTop + step * ((bottom - yTop) / (yBottom - yTop));
      // Sorted by the middle: it tells edges apart that share an end at the top or at the bottom.
      const middle = upper + lower;
      let at = count++;
      for (; at > 0 && atTop[at - 1]! + atBottom[at - 1]! > middle; at--) {
        active[at] = active[at - 1]!;
        atTop[at] = atTop[at - 1]!;
        atBottom[at] = atBottom[at - 1]!;
      }
      active[at] = piece;
      atTop[at] = upper;
      atBottom[at] = lower;
    }
    if (count < 2) return;
    for (let n = 1; n < count; n++) {
      if (atTop[n - 1]! > atTop[n]! + TOUCHING || atBottom[n - 1]! > atBottom[n]! + TOUCHING) {
        this.#crossedBand(pieces, count, bottom - top);
        return;
      }
    }
    this.#emit(pieces, count, bottom - top, 0, 1);
  }

  /** A band in which edges cross: cut at every crossing. Positions t run from 0 (top of the band) to 1. */
  #crossedBand(pieces: Pieces, count: number, height: number): void {
    const cuts = this.#findCrossings(count);
    let from = 0;
    for (let n = 0; n <= cuts; n++) {
      const to = n < cuts ? this.#crossings[n]! : 1;
      if (!(to > from)) continue;
      const middle = (from + to) / 2;
      this.#sortActive(count, (upper, lower) => upper + middle * (lower - upper));
      this.#emit(pieces, count, height * (to - from), from, to);
      from = to;
    }
  }

  #findCrossings(count: number): number {
    const atTop = this.#atTop;
    const atBottom = this.#atBottom;
    this.#sortActive(count, Math.min);
    let found = 0;
    for (let n = 0; n < count; n++) {
      const top = atTop[n]!;
      const bottom = atBottom[n]!;
      const right = Math.max(top, bottom);
      for (let m = n + 1; m < count; m++) {
        if (Math.min(atTop[m]!, atBottom[m]!) >= right) break;
        const gapTop = atTop[m]! - top;
        const gapBottom = atBottom[m]! - bottom;
        if (gapTop * gapBottom >= 0) continue;
        if (found === this.#crossings.length) this.#crossings = enlarged(this.#crossings, Float64Array);
        this.#crossings[found++] = gapTop / (gapTop - gapBottom);
      }
    }
    this.#crossings.subarray(0, found).sort();
    return found;
  }

  /** Walks the active pieces from left to right between the positions `from` and `to` of the band. */
  #emit(pieces: Pieces, count: number, height: number, from: number, to: number): void {
    const atTop = this.#atTop;
    const atBottom = this.#atBottom;
    const winding = this.#winding;
    let covering = 0;
    for (let n = 0; n < count; n++) {
      const piece = this.#active[n]!;
      const owner = pieces.owner[piece]!;
      const before = winding[owner]!;
      const after = before + pieces.sense[piece]!;
      winding[owner] = after;
      const entered = before === 0 && covering++ === 0;
      const left = after === 0 && --covering === 0;
      if (entered === left) continue;
      const step = atBottom[n]! - atTop[n]!;
      const sign = entered ? height : -height;
      addRightOfLine(this.#row, atTop[n]! + from * step, atTop[n]! + to * step, sign);
    }
  }

  /** Insertion sort of the active pieces by a key made of their places at the top and the bottom of the band. */
  #sortActive(count: number, key: (top: number, bottom: number) => number): void {
    const atTop = this.#atTop;
    const atBottom = this.#atBottom;
    for (let n = 1; n < count; n++) {
      const top = atTop[n]!;
      const bottom = atBottom[n]!;
      const piece = this.#active[n]!;
      const own = key(top, bottom);
      let at = n;
      for (; at > 0 && key(atTop[at - 1]!, atBottom[at - 1]!) > own; at--) {
        this.#active[at] = this.#active[at - 1]!;
        atTop[at] = atTop[at - 1]!;
        atBottom[at] = atBottom[at - 1]!;
      }
      this.#active[at] = piece;
      atTop[at] = top;
      atBottom[at] = bottom;
    }
  }
}
