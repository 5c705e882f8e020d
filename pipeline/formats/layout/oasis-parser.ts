/**
 * Walks the records of an OASIS file and fills cells. Works on bytes in place: no object is made per record.
 *
 * @source SEMI P39 (OASIS); syntax of a file in its section 12, records in 13 to 35.
 */
import type { InputTag } from '../../../shared/errors.ts';
import type { LayoutCell } from '../layout.ts';
import { CellBuilder } from './cell-builder.ts';
import { BlockUnpacker } from './oasis-block.ts';
import { Budget, COST } from './oasis-budget.ts';
import { FETCH_AGAIN, OasisCursor } from './oasis-cursor.ts';
import { ElementReader } from './oasis-elements.ts';
import { Modal } from './oasis-modal.ts';
import { NameTables } from './oasis-names.ts';
import { OasisTally } from './oasis-notes.ts';
import { PlacementReader } from './oasis-placements.ts';
import { PropertyReader } from './oasis-property.ts';
import { LAST_RECORD, RECORD } from './oasis-records.ts';
import { TableOffsets } from './oasis-tables.ts';
import { checkSignature } from './oasis-validation.ts';

/** @source SEMI P39 (OASIS), the magic string at the beginning of a file. */
export const OASIS_MAGIC = Buffer.from('%SEMI-OASIS\r\n', 'latin1');

export interface OasisLimits {
  readonly maximumUnpackedBytes?: number;
  readonly maximumLayoutBytes?: number;
}

/** A cell as read, its name and those of its targets still keys (see `NameTables`). */
export interface ReadCell {
  readonly key: string;
  readonly cell: LayoutCell;
  readonly place: string;
}

/** Where in the file's syntax the reader stands. */
type Place = 'start' | 'file' | 'cell' | 'end';

export class OasisParser {
  readonly cells: ReadCell[] = [];
  readonly names = new NameTables();
  readonly tally = new OasisTally();
  readonly labels: PlacementReader;
  readonly properties: PropertyReader;
  readonly tables = new TableOffsets();
  readonly cursor: OasisCursor;
  /** Records met so far, by number. */
  readonly recordCounts = new Uint32Array(LAST_RECORD + 1);
  /** Grid steps per micrometre; 0 while not read. */
  stepsPerUm = 0;
  readonly #builder = new CellBuilder();
  readonly #modal = new Modal();
  readonly #elements: ElementReader;
  readonly #blocks: BlockUnpacker;
  readonly #budget: Budget;
  #place: Place = 'start';
  #offsetsAreInEnd = false;
  #cellKey = '';
  #cellPlace = '';
  /** First reference of the placement that following properties belong to; -1 for other things. */
  #propertyOwner = -1;

  /** @param diskBytes size of the file as it lies on the disk, packed or not */
  constructor(file: string, bytes: Buffer, diskBytes: number, limits: OasisLimits = {}) {
    this.cursor = new OasisCursor(file, bytes);
    this.#budget = new Budget(this.cursor, diskBytes, limits.maximumLayoutBytes);
    this.#blocks = new BlockUnpacker(this.cursor, diskBytes, limits.maximumUnpackedBytes);
    const { cursor, names } = this;
    this.#elements = new ElementReader(cursor, this.#modal, this.#builder, this.#budget, this.tally);
    this.labels = new PlacementReader(cursor, this.#modal, this.#builder, names, this.#budget);
    this.properties = new PropertyReader(cursor, names, this.#budget);
    if (!bytes.subarray(0, OASIS_MAGIC.length).equals(OASIS_MAGIC)) {
      const expected = 'an OASIS file, which begins with %SEMI-OASIS';
      this.#fail('malformed', expected, JSON.stringify(bytes.toString('latin1', 0, OASIS_MAGIC.length)));
    }
    cursor.at = OASIS_MAGIC.length;
  }

  /** Repetitions met so far, by type. */
  get repetitionCounts(): Uint32Array {
    return this.#modal.repetition.counts;
  }

  /** Point lists met so far, by type. */
  get pointListCounts(): Uint32Array {
    const { polygonPoints, pathPoints } = this.#modal;
    return polygonPoints.counts.map((count, type) => count + pathPoints.counts[type]);
  }

  /** PATH records met so far that state how they end. */
  get extensionSchemes(): number {
    return this.#elements.extensionSchemes;
  }

  /** Reads records up to a byte of the file. @returns whether END was reached */
  run(until: number): boolean {
    const { cursor } = this;
    while (this.#place !== 'end') {
      if (cursor.block >= 0) {
        if (cursor.at === cursor.end) {
          cursor.leaveBlock();
          continue;
        }
      } else if (cursor.at >= until && until < cursor.end) return false;
      this.#record(cursor.startRecord());
    }
    return true;
  }

  #record(code: number): void {
    this.recordCounts[code]++;
    switch (code) {
      case RECORD.PAD:
        this.recordCounts[RECORD.PAD] += this.cursor.skipPads();
        return;
      case RECORD.CBLOCK:
        this.#block();
        return;
      case RECORD.PROPERTY:
      case RECORD.PROPERTY_REPEAT:
        this.#property(code);
        return;
    }
    this.#propertyOwner = -1;
    if (code > RECORD.XYRELATIVE) this.#element(code);
    else this.#structure(code);
  }

  #element(code: number): void {
    if (code > LAST_RECORD) this.#fail('malformed', `a record of 0 to ${LAST_RECORD}`, `${code}`);
    if (code >= RECORD.XNAME && code <= RECORD.XELEMENT) {
      this.#structure(code);
      return;
    }
    if (this.#place === 'start') this.#fail('malformed', 'the START record first', 'another one');
    if (this.#place !== 'cell') this.#fail('malformed', 'a CELL record before the first element', 'none');
    switch (code) {
      case RECORD.PLACEMENT:
      case RECORD.PLACEMENT_ANY:
        this.#propertyOwner = this.labels.placement(code === RECORD.PLACEMENT_ANY);
        return;
      case RECORD.TEXT:
        this.labels.text();
        return;
      case RECORD.RECTANGLE:
        this.#elements.rectangle();
        return;
      case RECORD.POLYGON:
        this.#elements.polygon();
        return;
      case RECORD.PATH:
        this.#elements.path();
        return;
      case RECORD.CTRAPEZOID:
        this.#elements.compactTrapezoid();
        return;
      case RECORD.CIRCLE:
        this.#elements.circle();
        return;
      case RECORD.XGEOMETRY:
        this.#elements.extension();
        return;
      default:
        this.#elements.trapezoid(code);
    }
  }

  /** Records that make up the file rather than draw. */
  #structure(code: number): void {
    const { cursor, names } = this;
    if (this.#place === 'start') {
      if (code !== RECORD.START) this.#fail('malformed', 'the START record first', 'another one');
      this.#start();
      return;
    }
    switch (code) {
      case RECORD.START:
        this.#fail('malformed', 'one START record', 'a second one');
        break;
      case RECORD.END:
        this.#end();
        return;
      case RECORD.CELLNAME:
      case RECORD.CELLNAME_NUMBERED:
        this.#name(0);
        names.cells.add(cursor, this.#budget, cursor.name(), code === RECORD.CELLNAME_NUMBERED);
        return;
      case RECORD.TEXTSTRING:
      case RECORD.TEXTSTRING_NUMBERED:
        this.#name(1);
        names.texts.add(cursor, this.#budget, cursor.string(), code === RECORD.TEXTSTRING_NUMBERED);
        return;
      case RECORD.PROPNAME:
      case RECORD.PROPNAME_NUMBERED:
        this.#name(2);
        names.propertyNames.add(cursor, this.#budget, cursor.name(), code === RECORD.PROPNAME_NUMBERED);
        return;
      case RECORD.PROPSTRING:
      case RECORD.PROPSTRING_NUMBERED:
        this.#name(3);
        names.propertyTexts.add(cursor, this.#budget, cursor.string(), code === RECORD.PROPSTRING_NUMBERED);
        return;
      case RECORD.LAYERNAME_SHAPES:
      case RECORD.LAYERNAME_TEXTS:
        this.#name(4);
        cursor.name();
        this.#interval();
        this.#interval();
        return;
      case RECORD.XNAME:
      case RECORD.XNAME_NUMBERED:
        this.#name(5);
        cursor.unsigned();
        cursor.string();
        if (code === RECORD.XNAME_NUMBERED) cursor.unsigned();
        return;
      case RECORD.XELEMENT:
        cursor.unsigned();
        cursor.raw(cursor.unsigned());
        this.tables.interrupt();
        this.tally.extensions++;
        return;
      case RECORD.CELL:
      case RECORD.CELL_NUMBERED:
        this.#cell(code === RECORD.CELL ? cursor.name() : names.cellKey(cursor.unsigned()));
        return;
      default:
        if (this.#place !== 'cell')
          this.#fail('malformed', 'a CELL record before XYABSOLUTE and XYRELATIVE', 'none');
        this.#modal.isRelative = code === RECORD.XYRELATIVE;
    }
  }

  /** @source SEMI P39 (OASIS), START: version, unit in grid steps per micrometre, offset flag. */
  #start(): void {
    const { cursor } = this;
    const version = cursor.string();
    if (version !== '1.0') {
      cursor.fail(
        'unsupported',
        'OASIS version "1.0"',
        JSON.stringify(version),
        'Write the file as OASIS 1.0.',
      );
    }
    this.stepsPerUm = cursor.real();
    // Outside of this range the number is damage and not a unit.
    if (!(this.stepsPerUm >= 1e-6 && this.stepsPerUm <= 1e7)) {
      this.#fail('malformed', '1e-6 to 1e7 grid steps per micrometre', `${this.stepsPerUm}`);
    }
    const flag = cursor.unsigned();
    if (flag > 1) this.#fail('malformed', 'an offset flag of 0 or 1', `${flag}`);
    this.#offsetsAreInEnd = flag === 1;
    if (flag === 0) this.tables.read(cursor);
    this.#place = 'file';
  }

  #end(): void {
    const { cursor } = this;
    if (cursor.block >= 0) this.#fail('malformed', 'END outside of any CBLOCK', 'one inside');
    this.#finishCell();
    if (this.#offsetsAreInEnd) this.tables.read(cursor);
    cursor.raw(cursor.unsigned());
    checkSignature(cursor);
    this.tally.endLength = cursor.at - cursor.recordStart;
    this.tally.bytesAfterEnd = cursor.left;
    this.#place = 'end';
  }

  /** A name record ends the cell before it, and nothing modal lives on. */
  #name(table: number): void {
    this.#finishCell();
    this.#modal.reset();
    this.properties.reset();
    this.tables.met(table, this.cursor.fileOffset);
  }

  /** Layers or datatypes that a layer name stands for. @source SEMI P39 (OASIS), LAYERNAME, interval types 0 to 4. */
  #interval(): void {
    const type = this.cursor.unsigned();
    if (type > 4) this.#fail('malformed', 'an interval of type 0 to 4', `type ${type}`);
    for (let bounds = type === 0 ? 0 : type === 4 ? 2 : 1; bounds > 0; bounds--) this.cursor.unsigned();
  }

  #cell(key: string): void {
    this.#finishCell();
    this.#modal.reset();
    this.properties.reset();
    this.tables.interrupt();
    this.#budget.charge(COST.cell + key.length);
    this.#cellKey = key;
    this.#cellPlace = this.cursor.where();
    this.#place = 'cell';
  }

  #finishCell(): void {
    if (this.#place !== 'cell') return;
    const key = this.#cellKey;
    this.cells.push({ key, cell: this.#builder.take(key), place: this.#cellPlace });
    this.#place = 'file';
  }

  #property(code: number): void {
    if (this.#place === 'start') this.#fail('malformed', 'the START record first', 'another one');
    const { references } = this.#builder;
    const owner = this.#propertyOwner;
    if (owner >= 0 && references.count - owner > 1)
      this.#budget.charge(COST.array * (references.count - owner));
    const target = owner < 0 ? undefined : references.propertiesFrom(owner);
    if (code === RECORD.PROPERTY) this.properties.read(target);
    else this.properties.repeat(target);
    if (target === undefined) this.tally.leftOutProperties++;
  }

  #block(): void {
    if (this.#place === 'start') this.#fail('malformed', 'the START record first', 'another one');
    if (this.cursor.block >= 0) this.#fail('malformed', 'no CBLOCK inside another', 'one');
    this.cursor.enterBlock(this.#blocks.read());
  }

  #fail(tag: InputTag, expected: string, found: string): never {
    return this.cursor.fail(tag, expected, found, FETCH_AGAIN);
  }
}
