/**
 * Reads PLACEMENT and TEXT records after their record number.
 *
 * @source SEMI P39 (OASIS), sections 22 and 24: info bytes CNXYRAAF, CNXYRMAF and 0CNXYRTL; a flip about the x axis
 * comes before the rotation, which is counter-clockwise in degrees.
 */
import type { CellBuilder } from './cell-builder.ts';
import { type Budget, COST } from './oasis-budget.ts';
import { FETCH_AGAIN, type OasisCursor } from './oasis-cursor.ts';
import { failUndefined, type Modal } from './oasis-modal.ts';
import type { NameTables } from './oasis-names.ts';
import { placementTransform } from './orientation.ts';

const NO_STEPS = [0, 0, 0, 0] as const;
const LARGEST = Number.MAX_SAFE_INTEGER;

interface PendingLabel {
  readonly label: { text: string };
  readonly number: number;
  readonly place: string;
}

export class PlacementReader {
  readonly #cursor: OasisCursor;
  readonly #modal: Modal;
  readonly #builder: CellBuilder;
  readonly #names: NameTables;
  readonly #budget: Budget;
  readonly #pendingLabels: PendingLabel[] = [];

  constructor(cursor: OasisCursor, modal: Modal, builder: CellBuilder, names: NameTables, budget: Budget) {
    this.#cursor = cursor;
    this.#modal = modal;
    this.#builder = builder;
    this.#names = names;
    this.#budget = budget;
  }

  /** @returns number of the first reference made */
  placement(isAnyAngle: boolean): number {
    const cursor = this.#cursor;
    const modal = this.#modal;
    const info = cursor.byte();
    if ((info & 0x80) !== 0) {
      modal.placementCell = (info & 0x40) !== 0 ? this.#names.cellKey(cursor.unsigned()) : cursor.name();
    }
    const magnification = isAnyAngle && (info & 4) !== 0 ? cursor.real() : 1;
    let angleDeg = isAnyAngle ? 0 : 90 * ((info >> 1) & 3);
    if (isAnyAngle && (info & 2) !== 0) angleDeg = cursor.real();
    if (!(magnification > 0)) {
      cursor.fail('malformed', 'a magnification above 0', `${magnification}`, FETCH_AGAIN);
    }
    modal.placementX = this.#coordinate(info & 0x20, modal.placementX);
    modal.placementY = this.#coordinate(info & 0x10, modal.placementY);
    const isRepeated = (info & 8) !== 0;
    if (isRepeated) modal.repetition.read(cursor);
    const cell = modal.placementCell ?? failUndefined(cursor, 'a cell');
    this.#remember(cell);
    const { placementX: x, placementY: y, repetition } = modal;
    const isFlipped = (info & 1) !== 0;
    const { references } = this.#builder;
    const first = references.count;
    if (!isRepeated || repetition.isLattice) {
      this.#budget.charge(COST.reference);
      const columns = isRepeated ? repetition.columns : 1;
      const rows = isRepeated ? repetition.rows : 1;
      const steps = isRepeated ? repetition.steps : NO_STEPS;
      const transform = placementTransform(x, y, angleDeg, magnification, isFlipped);
      references.add(cell, transform, magnification, columns, rows, steps);
      return first;
    }
    this.#budget.charge(COST.reference * repetition.members);
    const { offsets } = repetition;
    for (let n = 0; n < repetition.members; n++) {
      const px = x + offsets[2 * n];
      const py = y + offsets[2 * n + 1];
      const transform = placementTransform(px, py, angleDeg, magnification, isFlipped);
      references.add(cell, transform, magnification, 1, 1, NO_STEPS);
    }
    return first;
  }

  text(): void {
    const cursor = this.#cursor;
    const modal = this.#modal;
    const info = cursor.byte();
    if ((info & 0x80) !== 0) {
      const bits = info.toString(2).padStart(8, '0');
      cursor.fail('malformed', 'an info byte with its reserved bit 0', bits, FETCH_AGAIN);
    }
    if ((info & 0x40) !== 0) modal.textString = (info & 0x20) !== 0 ? cursor.unsigned() : cursor.string();
    if ((info & 1) !== 0) modal.textLayer = cursor.unsigned();
    if ((info & 2) !== 0) modal.textType = cursor.unsigned();
    modal.textX = this.#coordinate(info & 0x10, modal.textX);
    modal.textY = this.#coordinate(info & 8, modal.textY);
    const { repetition } = modal;
    const isRepeated = (info & 4) !== 0;
    if (isRepeated) repetition.read(cursor);
    const text = modal.textString ?? failUndefined(cursor, 'a text');
    if (modal.textLayer < 0) failUndefined(cursor, 'a text layer');
    if (modal.textType < 0) failUndefined(cursor, 'a text type');
    const members = isRepeated ? repetition.members : 1;
    this.#budget.charge(COST.label * members);
    if (isRepeated) repetition.openOut();
    for (let n = 0; n < members; n++) {
      const x = modal.textX + (isRepeated ? repetition.offsets[2 * n] : 0);
      const y = modal.textY + (isRepeated ? repetition.offsets[2 * n + 1] : 0);
      this.#label(text, x, y);
    }
  }

  #label(text: string | number, x: number, y: number): void {
    const { textLayer, textType } = this.#modal;
    const known = typeof text === 'string' ? text : this.#names.texts.get(text);
    const label = this.#builder.addLabel(known ?? '', textLayer, textType, x, y);
    if (known !== undefined || typeof text === 'string') return;
    this.#budget.charge(COST.label);
    this.#pendingLabels.push({ label, number: text, place: this.#cursor.where() });
  }

  /** Fills in the texts of labels once all name tables are read. */
  finish(file: string): void {
    for (const { label, number, place } of this.#pendingLabels) {
      label.text = this.#names.texts.resolve(number, file, place);
    }
  }

  #remember(cell: string): void {
    const { firstReferred } = this.#names;
    if (firstReferred.has(cell)) return;
    this.#budget.charge(COST.name + cell.length);
    firstReferred.set(cell, this.#cursor.where());
  }

  #coordinate(isGiven: number, last: number): number {
    if (isGiven === 0) return last;
    const value = this.#cursor.signed() + (this.#modal.isRelative ? last : 0);
    if (Math.abs(value) > LARGEST) {
      this.#cursor.fail(
        'limit',
        'coordinates below 2^53',
        'a larger one',
        'Write the file in a coarser grid.',
      );
    }
    return value;
  }
}
