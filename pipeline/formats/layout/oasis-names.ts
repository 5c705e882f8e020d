/**
 * The name tables: CELLNAME, TEXTSTRING, PROPNAME and PROPSTRING records give numbers to texts, implicitly (0, 1, 2
 * ... in file order) or explicitly, before or after the numbers are used.
 */
import { InputFault } from '../../../shared/errors.ts';
import { type Budget, COST } from './oasis-budget.ts';
import { FETCH_AGAIN, type OasisCursor } from './oasis-cursor.ts';

/** Names that the file's table offsets go by, in their order there. */
export const TABLES = ['CELLNAME', 'TEXTSTRING', 'PROPNAME', 'PROPSTRING', 'LAYERNAME', 'XNAME'] as const;

/** What begins the key of a cell that is known by number alone; no name can begin so. */
const NUMBERED = '\0';

export class NameTable {
  readonly record: string;
  readonly #texts = new Map<number, string>();
  #isExplicit: boolean | undefined;
  #next = 0;

  constructor(record: string) {
    this.record = record;
  }

  /** @param isExplicit whether the text is followed by its number */
  add(cursor: OasisCursor, budget: Budget, text: string, isExplicit: boolean): void {
    const number = isExplicit ? cursor.unsigned() : this.#next++;
    if (this.#isExplicit !== undefined && this.#isExplicit !== isExplicit) {
      const expected = `${this.record} records either all with numbers or all without`;
      cursor.fail('malformed', expected, 'both kinds', FETCH_AGAIN);
    }
    this.#isExplicit = isExplicit;
    if (this.#texts.has(number)) {
      cursor.fail(
        'inconsistent',
        `number ${number} once among the ${this.record} records`,
        'twice',
        FETCH_AGAIN,
      );
    }
    budget.charge(COST.name + text.length);
    this.#texts.set(number, text);
  }

  get(number: number): string | undefined {
    return this.#texts.get(number);
  }

  /** @param place of the record that uses the number */
  resolve(number: number, file: string, place: string): string {
    const text = this.#texts.get(number);
    if (text !== undefined) return text;
    throw new InputFault({
      tag: 'inconsistent',
      file,
      place,
      expected: `a ${this.record} record for number ${number}`,
      found: 'none in the file',
      remedy: 'Write the file again with its name tables.',
    });
  }
}

export class NameTables {
  readonly cells = new NameTable('CELLNAME');
  readonly texts = new NameTable('TEXTSTRING');
  readonly propertyNames = new NameTable('PROPNAME');
  readonly propertyTexts = new NameTable('PROPSTRING');
  /** Where each cell was first referred to, by key. */
  readonly firstReferred = new Map<string, string>();
  readonly #keys = new Map<number, string>();

  /** Key of a cell that a record gives by number: its name where that is known by now. */
  cellKey(number: number): string {
    let key = this.#keys.get(number);
    if (key === undefined) {
      key = this.cells.get(number) ?? `${NUMBERED}${number}`;
      this.#keys.set(number, key);
    }
    return key;
  }

  /** Name of a cell by its key. To be called when all records are read. */
  cellName(key: string, file: string, place: string): string {
    return key.startsWith(NUMBERED) ? this.cells.resolve(Number(key.slice(1)), file, place) : key;
  }
}
