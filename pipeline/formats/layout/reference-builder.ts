/** References of the cell being read. */
import type { Affine2 } from '../../../shared/affine.ts';
import type { ReferenceBlock } from '../layout.ts';
import { growingFloat64, growingUint32 } from './growing.ts';
import { LatticeBuilder } from './shape-builders.ts';

/** Shared by all cells that refer to none: a layout may hold a great many of them. */
const NO_REFERENCES: ReferenceBlock = {
  count: 0,
  targets: [],
  target: new Uint32Array(0),
  transforms: new Float64Array(0),
  magnifications: new Float64Array(0),
  columns: new Uint32Array(0),
  rows: new Uint32Array(0),
  stepsDbu: new Float64Array(0),
  properties: new Map(),
};

export class ReferenceBuilder {
  #targets: string[] = [];
  readonly #targetNumbers = new Map<string, number>();
  readonly #target = growingUint32();
  readonly #transforms = growingFloat64();
  readonly #magnifications = growingFloat64();
  readonly #lattices = new LatticeBuilder();
  #properties = new Map<number, Map<number | string, string>>();

  get count(): number {
    return this.#target.length;
  }

  add(
    cell: string,
    transform: Affine2,
    magnification: number,
    columns: number,
    rows: number,
    stepsDbu: readonly [number, number, number, number],
  ): void {
    let number = this.#targetNumbers.get(cell);
    if (number === undefined) {
      number = this.#targets.push(cell) - 1;
      this.#targetNumbers.set(cell, number);
    }
    this.#target.push(number);
    for (let n = 0; n < 6; n++) this.#transforms.push(transform[n]);
    this.#magnifications.push(magnification);
    this.#lattices.add(columns, rows, stepsDbu);
  }

  /** Gives the last added reference a property. */
  addProperty(key: number | string, value: string): void {
    this.propertiesFrom(this.#target.length - 1).set(key, value);
  }

  /** The properties that the references from `first` to the last one have in common, to be added to. */
  propertiesFrom(first: number): Map<number | string, string> {
    let properties = this.#properties.get(first);
    if (properties === undefined) {
      properties = new Map();
      for (let n = first; n < this.#target.length; n++) this.#properties.set(n, properties);
    }
    return properties;
  }

  take(): ReferenceBlock {
    if (this.#target.length === 0) return NO_REFERENCES;
    const block: ReferenceBlock = {
      count: this.#target.length,
      targets: this.#targets,
      target: this.#target.take(),
      transforms: this.#transforms.take(),
      magnifications: this.#magnifications.take(),
      ...this.#lattices.take(),
      properties: this.#properties,
    };
    this.#targets = [];
    this.#targetNumbers.clear();
    this.#properties = new Map();
    return block;
  }
}
