/**
 * PROPERTY records. Those of placements go to the references; others are read, so that the file is checked, and
 * left out.
 *
 * @source SEMI P39 (OASIS), section 31: info byte UUUUVCNS, values of type 0 to 15.
 */
import { type Budget, COST } from './oasis-budget.ts';
import { FETCH_AGAIN, type OasisCursor } from './oasis-cursor.ts';
import { failUndefined } from './oasis-modal.ts';
import type { NameTables } from './oasis-names.ts';

/** Number of the name or of a text in its table, where the record gives that. */
type Text = string | number;
interface Value {
  readonly text: Text;
  readonly isReference: boolean;
}

/** The properties that one or more references have. */
export type PropertyMap = Map<number | string, string>;

interface Pending {
  readonly target: PropertyMap;
  readonly name: Text;
  readonly values: readonly Value[];
  readonly place: string;
}

/** The standard property that carries a property over from GDSII: attribute number and value. */
const GDSII_PROPERTY = 'S_GDS_PROPERTY';

export class PropertyReader {
  readonly #cursor: OasisCursor;
  readonly #names: NameTables;
  readonly #budget: Budget;
  readonly #pending: Pending[] = [];
  #name: Text | undefined;
  #values: readonly Value[] | undefined;

  constructor(cursor: OasisCursor, names: NameTables, budget: Budget) {
    this.#cursor = cursor;
    this.#names = names;
    this.#budget = budget;
  }

  /** At the start of a cell and of a name record nothing is left to take up again. */
  reset(): void {
    this.#name = undefined;
    this.#values = undefined;
  }

  /** @param target undefined: the property is left out */
  read(target: PropertyMap | undefined): void {
    const cursor = this.#cursor;
    const info = cursor.byte();
    if ((info & 4) !== 0) this.#name = (info & 2) !== 0 ? cursor.unsigned() : cursor.name();
    if ((info & 8) === 0) this.#values = this.#readValues(info >> 4);
    else if (info >> 4 !== 0) {
      cursor.fail(
        'malformed',
        'no value count where the last values are taken up',
        `${info >> 4}`,
        FETCH_AGAIN,
      );
    }
    this.repeat(target);
  }

  /** PROPERTY without anything of its own: the last one again. */
  repeat(target: PropertyMap | undefined): void {
    const name = this.#name ?? failUndefined(this.#cursor, 'a property name');
    const values = this.#values ?? failUndefined(this.#cursor, 'property values');
    if (target === undefined) return;
    this.#budget.charge(COST.property);
    this.#pending.push({ target, name, values, place: this.#cursor.where() });
  }

  #readValues(stated: number): Value[] {
    const cursor = this.#cursor;
    const count = cursor.count(stated === 15 ? cursor.unsigned() : stated, 'property values', 2);
    const values: Value[] = [];
    for (let n = 0; n < count; n++) {
      this.#budget.charge(COST.property);
      values.push(this.#readValue());
    }
    return values;
  }

  #readValue(): Value {
    const cursor = this.#cursor;
    const at = cursor.at;
    const type = cursor.unsigned();
    if (type < 8) {
      cursor.at = at;
      return { text: `${cursor.real()}`, isReference: false };
    }
    switch (type) {
      case 8:
        return { text: `${cursor.unsigned()}`, isReference: false };
      case 9:
        return { text: `${cursor.signed()}`, isReference: false };
      case 10:
      case 11:
      case 12:
        return { text: cursor.string(), isReference: false };
      case 13:
      case 14:
      case 15:
        return { text: cursor.unsigned(), isReference: true };
      default:
        return cursor.fail('malformed', 'a property value of type 0 to 15', `type ${type}`, FETCH_AGAIN);
    }
  }

  /** Fills in the properties of references once all name tables are read. */
  finish(file: string): void {
    const { propertyNames, propertyTexts } = this.#names;
    for (const { target, name, values, place } of this.#pending) {
      const key = typeof name === 'string' ? name : propertyNames.resolve(name, file, place);
      const texts = values.map(({ text, isReference }) =>
        isReference ? propertyTexts.resolve(Number(text), file, place) : `${text}`,
      );
      if (key === GDSII_PROPERTY && texts.length === 2) target.set(Number(texts[0]), texts[1]);
      else target.set(key, texts.join(' '));
    }
  }
}
