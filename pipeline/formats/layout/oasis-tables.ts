/**
 * What a file promises of its name tables: where each begins and, in strict mode, that all records of the kind stand
 * there in one piece. Nothing here depends on it, since every record is read; a broken promise becomes a note.
 */
import type { OasisCursor } from './oasis-cursor.ts';
import { TABLES } from './oasis-names.ts';

interface Table {
  isStrict: boolean;
  /** 0: the file says there is none, or does not say where. */
  stated: number;
  /** Offset of the first record, or of the CBLOCK it lies in; -1 for none. */
  first: number;
  /** Whether other records stand between those of the table. */
  isBroken: boolean;
}

export class TableOffsets {
  readonly #tables: Table[] = TABLES.map(() => ({ isStrict: false, stated: 0, first: -1, isBroken: false }));
  #open = -1;

  /** Reads the six pairs that START or END holds. */
  read(cursor: OasisCursor): void {
    for (const table of this.#tables) {
      table.isStrict = cursor.unsigned() !== 0;
      table.stated = cursor.unsigned();
    }
  }

  /** A record of table n. */
  met(n: number, offset: number): void {
    const table = this.#tables[n];
    if (table.first < 0) table.first = offset;
    else if (this.#open !== n) table.isBroken = true;
    this.#open = n;
  }

  /** A record that belongs to no table. */
  interrupt(): void {
    this.#open = -1;
  }

  notes(): string[] {
    return this.#tables.flatMap(({ isStrict, stated, first, isBroken }, n) => {
      const met = first < 0 ? 'there are none' : `they begin at byte ${first}`;
      if (stated !== 0 && stated !== first) {
        return [
          `The file states its ${TABLES[n]} records from byte ${stated} on, but ${met}; all were read.`,
        ];
      }
      if (isStrict && stated === 0 && first >= 0) {
        return [`The file states that it has no ${TABLES[n]} records, but ${met}; all were read.`];
      }
      if (isStrict && isBroken) {
        return [`The ${TABLES[n]} records do not stand in one piece, as the file states; all were read.`];
      }
      return [];
    });
  }
}
