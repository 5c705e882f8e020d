/** Typed arrays that grow while a file is read and are cut to their length when a cell is complete. */
type Growable = Int32Array | Uint32Array | Uint8Array | Float64Array;

/** Beyond this many entries a buffer is given up after use and not kept for the next cell. */
const KEPT_ENTRIES = 1 << 18;

export class Growing<T extends Growable> {
  /** Entries 0 .. length are in use. Changes identity when it grows: fetch anew after `reserve`. */
  data: T;
  length = 0;
  #make: (entries: number) => T;

  constructor(make: (entries: number) => T) {
    this.#make = make;
    this.data = make(16);
  }

  /** Room for `extra` entries beyond `length`. Callers pass what a record of the file really holds. */
  reserve(extra: number): void {
    const needed = this.length + extra;
    if (needed <= this.data.length) return;
    // Half as much again: doubling would leave up to a whole layer of slack on the largest arrays.
    this.data = this.#resized(Math.max(needed, Math.ceil(this.data.length * 1.5)));
  }

  /** Goes over to another kind of array, which has to hold the entries so far. */
  convert(make: (entries: number) => T): void {
    const other = make(this.data.length);
    other.set(this.data.subarray(0, this.length));
    this.data = other;
    this.#make = make;
  }

  push(value: number): void {
    if (this.length === this.data.length) this.reserve(1);
    this.data[this.length++] = value;
  }

  /** The entries in an array of their own length; starts over empty. */
  take(): T {
    const isKept = this.data.length <= KEPT_ENTRIES;
    const taken = isKept ? (this.data.slice(0, this.length) as T) : this.#resized(this.length);
    this.length = 0;
    if (!isKept) this.data = this.#make(16);
    return taken;
  }

  /** Moves the entries: what they lay in is given back at once, and not when the collector comes to it. */
  #resized(entries: number): T {
    const kind = this.data.constructor as new (buffer: ArrayBuffer) => T;
    const buffer = this.data.buffer as ArrayBuffer;
    return new kind(buffer.transfer(entries * this.data.BYTES_PER_ELEMENT));
  }
}

export const growingInt32 = (): Growing<Int32Array> => new Growing((n) => new Int32Array(n));
export const growingUint32 = (): Growing<Uint32Array> => new Growing((n) => new Uint32Array(n));
export const growingUint8 = (): Growing<Uint8Array> => new Growing((n) => new Uint8Array(n));
export const growingFloat64 = (): Growing<Float64Array> => new Growing((n) => new Float64Array(n));
