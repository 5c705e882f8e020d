/**
 * A small read-only store of bit cells in a strict period: two word lines of polysilicon and one bit line of metal1
 * per cell, with ground strips between the bit lines. Occupies two rows between two ground rails.
 */
import { CONTACT_SIZE, DRAWN, LABEL, RAIL_HALF, ROW, STRIP_HALF, TRACK } from './drawn-layers.ts';
import { addCentred, addRect, type Cell, newCell, placeArray } from './library.ts';

export const BIT_COLUMNS = 8;
export const BIT_ROWS = 3;
/** Tracks that the block takes in the row, with room for the word-line pins on its left. */
export const MEMORY_TRACKS = 20;
/** Track of the first ground strip inside the block. */
const FIRST = 2;

export interface MemoryPin {
  readonly net: string;
  readonly direction: 'in' | 'out';
  readonly points: readonly (readonly [number, number])[];
}

/** Grid points are relative to the lower left corner of the block (on the ground rail). */
export interface MemoryBlock {
  readonly cells: readonly Cell[];
  readonly top: string;
  readonly pins: readonly MemoryPin[];
}

function bitCell(): Cell {
  const cell = newCell('HER_BIT');
  addRect(cell, DRAWN.outline, 0, 0, 2 * TRACK, 4 * TRACK);
  addRect(cell, DRAWN.active, TRACK - 190, 0, TRACK + 190, 4 * TRACK);
  addRect(cell, DRAWN.active, 0, 0, 2 * TRACK, 190);
  for (const y of [TRACK, 3 * TRACK]) addRect(cell, DRAWN.poly, 0, y - 100, 2 * TRACK, y + 100);
  addCentred(cell, DRAWN.contact, TRACK, 2 * TRACK, CONTACT_SIZE);
  addCentred(cell, DRAWN.contact, 0, 0, CONTACT_SIZE);
  addRect(cell, DRAWN.metal1, TRACK - STRIP_HALF, 0, TRACK + STRIP_HALF, 4 * TRACK);
  addRect(cell, DRAWN.metal1, -STRIP_HALF, 0, STRIP_HALF, 4 * TRACK);
  return cell;
}

/** The block with its array, its rails, and the pins of its word and bit lines. */
export function memoryBlock(): MemoryBlock {
  const bit = bitCell();
  const block = newCell('HER_STORE');
  const height = 2 * ROW;
  const left = FIRST * TRACK;
  const right = left + BIT_COLUMNS * 2 * TRACK;
  const foot = 2 * TRACK;
  const head = foot + BIT_ROWS * 4 * TRACK;
  addRect(block, DRAWN.outline, 0, 0, MEMORY_TRACKS * TRACK, height);
  addRect(block, DRAWN.metal1, 0, -RAIL_HALF, MEMORY_TRACKS * TRACK, RAIL_HALF);
  addRect(block, DRAWN.metal1, 0, height - RAIL_HALF, MEMORY_TRACKS * TRACK, height + RAIL_HALF);
  placeArray(block, 'HER_BIT', [left, foot], [BIT_COLUMNS, BIT_ROWS], [2 * TRACK, 4 * TRACK]);
  for (let c = 0; c <= BIT_COLUMNS; c++) {
    const x = left + c * 2 * TRACK;
    addRect(block, DRAWN.metal1, x - STRIP_HALF, 0, x + STRIP_HALF, height);
  }
  const pins: MemoryPin[] = [];
  for (let w = 0; w < 2 * BIT_ROWS; w++) {
    const track = 3 + 2 * w;
    const y = track * TRACK;
    // The word line is led out to a contact two tracks left of the array, with a pin strip of its own.
    addRect(block, DRAWN.poly, left - TRACK - 150, y - 100, left, y + 100);
    addCentred(block, DRAWN.poly, left - TRACK, y, 300);
    addCentred(block, DRAWN.contact, left - TRACK, y, CONTACT_SIZE);
    addCentred(block, DRAWN.metal1, left - TRACK, y, 2 * STRIP_HALF);
    block.labels.push({ layer: LABEL.poly, x: left - TRACK, y, text: `word_line${w}` });
    pins.push({ net: `word_line${w}`, direction: 'in', points: [[FIRST - 1, track]] });
  }
  for (let b = 0; b < BIT_COLUMNS; b++) {
    const x = FIRST + 1 + 2 * b;
    const extra = b % 2 === 0 ? [foot - TRACK / 2, foot] : [head, head + TRACK / 2];
    addRect(
      block,
      DRAWN.metal1,
      x * TRACK - STRIP_HALF,
      extra[0] as number,
      x * TRACK + STRIP_HALF,
      extra[1] as number,
    );
    const last = 2 + 4 * BIT_ROWS;
    const points: [number, number][] =
      b % 2 === 0
        ? [
            [x, 2],
            [x, 3],
          ]
        : [
            [x, last - 1],
            [x, last],
          ];
    pins.push({ net: `bit_line${b}`, direction: 'out', points });
  }
  block.labels.push({
    layer: DRAWN.cellName,
    x: (left + right) / 2,
    y: height / 2,
    text: 'HER_STORE',
  });
  return { cells: [bit, block], top: 'HER_STORE', pins };
}
