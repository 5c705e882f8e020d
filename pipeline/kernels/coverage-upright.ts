/**
 * Union of pieces that are all upright, the rule in chip layouts. Going from left to right the share of the row's
 * height that is covered changes only at a piece. Polygons that reach through the whole height of the row are counted
 * at one step each; only those that begin or end in the row are followed level by level.
 */
import type { Pieces } from './coverage-pieces.ts';
import { addRightOfLine, type CoverageRow } from './coverage-row.ts';
import { enlarged } from './coverage-shapes.ts';

export class UprightSweep {
  readonly #row: CoverageRow;
  /** Winding of each polygon that reaches through; zero between runs, as is everything below. */
  readonly #winding: Int32Array;
  /** Number from 1 of each polygon that does not; 0 for the others. */
  readonly #slot: Int32Array;
  /** Winding per slot and band. */
  #slotWinding = new Int32Array(256);
  /** How many slots cover each band. */
  #covering = new Int32Array(64);

  /** @param owners how many polygons there are. */
  constructor(row: CoverageRow, owners: number) {
    this.#row = row;
    this.#winding = new Int32Array(owners);
    this.#slot = new Int32Array(owners);
  }

  run(pieces: Pieces): void {
    const { uTop, yTop, yBottom, owner, sense } = pieces;
    const levels = pieces.levels();
    const bands = levels.length - 1;
    this.#makeRoom(this.#giveSlots(pieces), bands);
    const order = pieces.fromLeft();
    let through = 0;
    let covered = 0;
    for (const piece of order) {
      const before = through > 0 ? 1 : covered;
      const polygon = owner[piece]!;
      const step = sense[piece]!;
      const slot = this.#slot[polygon]!;
      if (slot === 0) {
        const winding = this.#winding[polygon]! + step;
        this.#winding[polygon] = winding;
        if (winding === 0) through--;
        else if (winding === step) through++;
      } else {
        const from = levelIndex(levels, yTop[piece]!);
        const to = levelIndex(levels, yBottom[piece]!);
        for (let band = from; band < to; band++) {
          const at = (slot - 1) * bands + band;
          const winding = this.#slotWinding[at]! + step;
          this.#slotWinding[at] = winding;
          if (winding === 0) {
            if (--this.#covering[band]! === 0) covered -= levels[band + 1]! - levels[band]!;
          } else if (winding === step) {
            if (this.#covering[band]!++ === 0) covered += levels[band + 1]! - levels[band]!;
          }
        }
      }
      const after = through > 0 ? 1 : covered;
      if (after !== before) addRightOfLine(this.#row, uTop[piece]!, uTop[piece]!, after - before);
    }
    for (const piece of order) this.#slot[owner[piece]!] = 0;
  }

  #giveSlots({ count, yTop, yBottom, owner }: Pieces): number {
    let slots = 0;
    for (let n = 0; n < count; n++) {
      const through = yTop[n] === 0 && yBottom[n] === 1;
      if (!through && this.#slot[owner[n]!] === 0) this.#slot[owner[n]!] = ++slots;
    }
    return slots;
  }

  #makeRoom(slots: number, bands: number): void {
    while (this.#slotWinding.length < slots * bands)
      this.#slotWinding = enlarged(this.#slotWinding, Int32Array);
    while (this.#covering.length < bands) this.#covering = enlarged(this.#covering, Int32Array);
  }
}

/** Where a height stands in the sorted levels that contain it. */
function levelIndex(levels: Float64Array, y: number): number {
  let low = 0;
  let high = levels.length - 1;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (levels[middle]! < y) low = middle + 1;
    else high = middle;
  }
  return low;
}
