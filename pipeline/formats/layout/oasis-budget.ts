/** A limit on the memory that a file can make a reader take up, so that a few bytes cannot ask for gigabytes. */
import type { OasisCursor } from './oasis-cursor.ts';

/** Every file may take up this much, */
const FLOOR = 128 * 2 ** 20;
/**
 * and so many bytes more for each of its own. Routed blocks come to about 4; lists of places for squares, three bytes
 * each and packed tenfold in CBLOCKs, to about 100.
 */
const PER_BYTE = 256;

/** Rough sizes in memory, bytes. */
export const COST = { cell: 1024, label: 192, name: 96, property: 256, reference: 128, array: 64 } as const;

export class Budget {
  readonly limit: number;
  readonly #cursor: OasisCursor;
  #left: number;

  /** @param fileBytes size of the file on disk */
  constructor(cursor: OasisCursor, fileBytes: number, limit = FLOOR + PER_BYTE * fileBytes) {
    this.#cursor = cursor;
    this.limit = limit;
    this.#left = limit;
  }

  /** To be called before the memory is taken. @throws InputFault */
  charge(bytes: number): void {
    this.#left -= bytes;
    // Not `< 0`: a count beyond all numbers may have made it NaN.
    if (this.#left >= 0) return;
    this.#cursor.fail(
      'limit',
      `a layout of at most ${this.limit} bytes once opened out (maximumLayoutBytes)`,
      'more than that',
      'Check that the file is what you think it is; raise maximumLayoutBytes if so.',
    );
  }
}
