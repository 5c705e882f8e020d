/**
 * Walks the records of a GDSII stream and fills cells. Works on bytes in place: no object is made per record.
 *
 * @source GDS II Stream Format Manual 6.0 (1987); syntax in its section 5.
 */
import { InputFault } from '../../../shared/errors.ts';
import type { LayoutCell } from '../layout.ts';
import { CellBuilder } from './cell-builder.ts';
import { ElementReader, type Fail } from './gdsii-element.ts';
import { GdsiiTally } from './gdsii-notes.ts';
import { readText } from './gdsii-text.ts';
import { readReal8 } from './real8.ts';
import {
  ALLOWED_PLACES,
  DATA_TYPE_NAMES,
  DEMANDED_DATA_TYPE,
  DEMANDED_SIZE,
  isSkipped,
  PLACE,
  RECORD,
  recordName,
  recordsAllowedIn,
} from './record-types.ts';

/** Place in the syntax after the first record of each element. */
const ELEMENT_PLACE: Readonly<Record<number, number>> = {
  [RECORD.BOUNDARY]: PLACE.boundary,
  [RECORD.PATH]: PLACE.path,
  [RECORD.SREF]: PLACE.sref,
  [RECORD.AREF]: PLACE.aref,
  [RECORD.TEXT]: PLACE.text,
  [RECORD.NODE]: PLACE.node,
  [RECORD.BOX]: PLACE.box,
};

const FETCH_AGAIN = 'Fetch or write the file again; it is damaged or not a GDSII stream.';
/** REFLIBS holds names of this many bytes, padded with NUL. @source GDS II Stream Format Manual 6.0, REFLIBS. */
const LIBRARY_NAME_BYTES = 44;

export class GdsiiParser {
  readonly cells = new Map<string, LayoutCell>();
  /** Where each referenced cell was first named, for the message about a missing one. */
  readonly firstNamed = new Map<string, string>();
  readonly tally = new GdsiiTally();
  /** Metres per database unit; 0 while not read. */
  dbuMetres = 0;
  readonly #file: string;
  readonly #builder = new CellBuilder();
  readonly #element: ElementReader;
  #place: number = PLACE.start;
  #cellName = '';
  /** Stream offset of bytes[0] of the chunk at hand. */
  #chunkOffset = 0;
  #consumed = 0;
  #recordNumber = 0;
  #recordStart = 0;
  #recordCode = -1;

  constructor(file: string) {
    this.#file = file;
    this.#element = new ElementReader(this.#builder, this.tally, this.#fail);
  }

  /** Reads whole records from bytes[from .. to); returns the position of the first byte not read. */
  consume(bytes: Buffer, view: DataView, from: number, to: number): number {
    this.#chunkOffset = this.#consumed - from;
    let at = from;
    while (at + 4 <= to && this.#place !== PLACE.end) {
      const length = (bytes[at] << 8) | bytes[at + 1];
      const code = bytes[at + 2];
      this.#recordStart = at;
      this.#recordCode = code;
      if (length < 4 || (length & 1) === 1) this.#failLength(length);
      if (at + length > to) break;
      this.#recordNumber++;
      if (((ALLOWED_PLACES[code] >>> this.#place) & 1) === 0) this.#failOrder(code);
      const dataType = bytes[at + 3];
      if (DEMANDED_DATA_TYPE[code] !== dataType && DEMANDED_DATA_TYPE[code] !== 255) {
        this.#failDataType(code, dataType);
      }
      const size = length - 4;
      if (DEMANDED_SIZE[code] !== size && DEMANDED_SIZE[code] !== -1) this.#failSize(code, size);
      this.#record(code, bytes, view, at + 4, at + length);
      at += length;
    }
    if (this.#place === PLACE.end) at = this.#skipPadding(bytes, at, to);
    this.#consumed = this.#chunkOffset + at;
    return at;
  }

  /** To be called at the end of the stream. @throws InputFault when it ends too early. */
  finish(left: number): void {
    if (this.#place === PLACE.end) return;
    const found = left > 0 ? `the end of the file after ${left} of its bytes` : 'the end of the file';
    throw new InputFault({
      tag: 'truncated',
      file: this.#file,
      place: `byte ${this.#consumed}, record ${this.#recordNumber + 1}`,
      expected: left > 0 ? 'a whole record' : recordsAllowedIn(this.#place),
      found: `${found}, without ENDLIB`,
      remedy: 'Fetch or write the file again; its end is missing.',
    });
  }

  #record(code: number, bytes: Buffer, view: DataView, from: number, to: number): void {
    switch (code) {
      case RECORD.XY:
        if (to === from || (to - from) % 8 !== 0) {
          this.#fail('malformed', 'pairs of 4-byte integers', `${to - from} bytes`, FETCH_AGAIN);
        }
        this.#place = this.#element.xy(view, from, to);
        return;
      case RECORD.BOUNDARY:
      case RECORD.PATH:
      case RECORD.SREF:
      case RECORD.AREF:
      case RECORD.TEXT:
      case RECORD.NODE:
      case RECORD.BOX:
        this.#element.start(code);
        this.#place = ELEMENT_PLACE[code];
        return;
      case RECORD.ENDEL:
        this.#element.end();
        this.#place = PLACE.structure;
        return;
      case RECORD.SNAME: {
        this.#element.field(code, bytes, view, from, to);
        const name = this.#element.referencedName;
        if (!this.firstNamed.has(name)) this.firstNamed.set(name, this.#where());
        return;
      }
      case RECORD.PROPATTR:
        this.#element.propertyKey(view.getInt16(from));
        this.#place = PLACE.afterPropattr;
        return;
      case RECORD.PROPVALUE:
        this.#place = this.#element.propertyValue(readText(bytes, from, to));
        return;
      default:
        if (code > RECORD.TEXT && this.#place >= PLACE.boundary) {
          if (isSkipped(code)) this.tally.skippedRecords++;
          else this.#element.field(code, bytes, view, from, to);
          return;
        }
        this.#libraryRecord(code, bytes, view, from, to);
    }
  }

  #libraryRecord(code: number, bytes: Buffer, view: DataView, from: number, to: number): void {
    switch (code) {
      case RECORD.HEADER:
        this.#place = PLACE.afterHeader;
        return;
      case RECORD.BGNLIB:
        this.#place = PLACE.library;
        return;
      case RECORD.UNITS:
        this.dbuMetres = readReal8(view, from + 8);
        // Outside of this range the number is damage and not a unit.
        if (!(this.dbuMetres >= 1e-13 && this.dbuMetres <= 1)) {
          this.#fail('malformed', 'a database unit of 1e-13 to 1 m', `${this.dbuMetres} m`, FETCH_AGAIN);
        }
        return;
      case RECORD.REFLIBS:
        for (let at = from; at < to; at += LIBRARY_NAME_BYTES) {
          const name = readText(bytes, at, Math.min(at + LIBRARY_NAME_BYTES, to)).trim();
          if (name) this.tally.externalLibraries.push(name);
        }
        return;
      case RECORD.BGNSTR:
        if (this.dbuMetres === 0) this.#fail('malformed', 'UNITS before BGNSTR', 'none', FETCH_AGAIN);
        this.#place = PLACE.structureName;
        return;
      case RECORD.STRNAME:
        this.#startCell(readText(bytes, from, to));
        return;
      case RECORD.ENDSTR:
        this.cells.set(this.#cellName, this.#builder.take(this.#cellName));
        this.#place = PLACE.betweenStructures;
        return;
      case RECORD.ENDLIB:
        if (this.dbuMetres === 0) this.#fail('malformed', 'UNITS before ENDLIB', 'none', FETCH_AGAIN);
        this.#place = PLACE.end;
        return;
      default:
        if (isSkipped(code)) this.tally.skippedRecords++;
    }
  }

  #startCell(name: string): void {
    if (name === '') this.#fail('malformed', 'a structure name', 'an empty one', FETCH_AGAIN);
    if (this.cells.has(name)) {
      const remedy = 'Rename or drop one of the two.';
      this.#fail('inconsistent', 'every structure once', `"${name}" a second time`, remedy);
    }
    this.#cellName = name;
    this.#place = PLACE.structure;
  }

  #skipPadding(bytes: Buffer, from: number, to: number): number {
    for (let at = from; at < to; at++) if (bytes[at] !== 0) this.tally.bytesAfterEnd++;
    return to;
  }

  #where(): string {
    const offset = this.#chunkOffset + this.#recordStart;
    return `byte ${offset}, record ${this.#recordNumber} (${recordName(this.#recordCode)})`;
  }

  readonly #fail: Fail = (tag, expected, found, remedy) => {
    throw new InputFault({ tag, file: this.#file, place: this.#where(), expected, found, remedy });
  };

  #failLength(length: number): never {
    this.#recordNumber++;
    this.#fail('malformed', 'an even record length of at least 4', `${length}`, FETCH_AGAIN);
  }

  #failOrder(code: number): never {
    this.#fail('malformed', recordsAllowedIn(this.#place), recordName(code), FETCH_AGAIN);
  }

  #failDataType(code: number, dataType: number): never {
    const name = (type: number) => `data type ${type} (${DATA_TYPE_NAMES[type] ?? 'unknown'})`;
    this.#fail('malformed', name(DEMANDED_DATA_TYPE[code]), name(dataType), FETCH_AGAIN);
  }

  #failSize(code: number, size: number): never {
    this.#fail('malformed', `${DEMANDED_SIZE[code]} bytes of data`, `${size}`, FETCH_AGAIN);
  }
}
