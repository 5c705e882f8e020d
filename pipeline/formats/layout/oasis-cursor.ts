/**
 * Reads the data types of OASIS from bytes in place, and knows where it stands for the faults. The end of the bytes at
 * hand (the file, or an unpacked CBLOCK) is checked on every read.
 *
 * @source SEMI P39 (OASIS), section 7: integers, reals, strings, deltas.
 */
import { InputFault, type InputTag } from '../../../shared/errors.ts';
import { recordName } from './oasis-records.ts';
import { decodeText } from './text.ts';

export const FETCH_AGAIN = 'Fetch or write the file again; it is damaged or not an OASIS file.';
const LARGEST = Number.MAX_SAFE_INTEGER;

/** Directions 0 to 7 of deltas: E, N, W, S, NE, NW, SW, SE. */
const DIRECTION_X = [1, 0, -1, 0, 1, -1, -1, 1];
const DIRECTION_Y = [0, 1, 0, -1, 1, 1, -1, -1];

export class OasisCursor {
  bytes: Buffer;
  at = 0;
  end: number;
  /** Low bits of the last `split`. */
  low = 0;
  /** The last delta read. */
  dx = 0;
  dy = 0;
  /** Number of the record at hand, from 1; records inside CBLOCKs count, as does the CBLOCK. */
  recordNumber = 0;
  recordStart = 0;
  recordCode = -1;
  /** File offset of the CBLOCK being read; -1 outside. */
  block = -1;
  readonly #file: string;
  readonly #fileBytes: Buffer;
  #afterBlock = 0;

  constructor(file: string, bytes: Buffer) {
    this.#file = file;
    this.#fileBytes = bytes;
    this.bytes = bytes;
    this.end = bytes.length;
  }

  get left(): number {
    return this.end - this.at;
  }

  /** Offset in the file of the record at hand, or of the CBLOCK that holds it. */
  get fileOffset(): number {
    return this.block >= 0 ? this.block : this.recordStart;
  }

  startRecord(): number {
    this.recordStart = this.at;
    this.recordNumber++;
    this.recordCode = -1;
    this.recordCode = this.unsigned();
    return this.recordCode;
  }

  /** Steps over PAD records, which are one byte of 0 each. @returns how many */
  skipPads(): number {
    const { bytes, end, at: from } = this;
    let at = from;
    while (at < end && bytes[at] === 0) at++;
    this.at = at;
    this.recordNumber += at - from;
    return at - from;
  }

  /** Reads on in the unpacked content of the CBLOCK at hand. */
  enterBlock(content: Buffer): void {
    this.block = this.recordStart;
    this.#afterBlock = this.at;
    this.bytes = content;
    this.at = 0;
    this.end = content.length;
  }

  leaveBlock(): void {
    this.block = -1;
    this.bytes = this.#fileBytes;
    this.at = this.#afterBlock;
    this.end = this.bytes.length;
  }

  byte(): number {
    if (this.at >= this.end) this.#failEnd();
    return this.bytes[this.at++];
  }

  unsigned(): number {
    const { bytes, end } = this;
    let { at } = this;
    if (at >= end) this.#failEnd();
    let byte = bytes[at++];
    let value = byte & 0x7f;
    for (let shift = 7; byte > 0x7f; shift += 7) {
      if (shift > 24) return this.#long(at, value, 2 ** shift);
      if (at >= end) this.#failEnd();
      byte = bytes[at++];
      value |= (byte & 0x7f) << shift;
    }
    this.at = at;
    return value;
  }

  /** An unsigned integer without its lowest `bits` bits, which go to `low`. */
  split(bits: number): number {
    const { bytes, end } = this;
    let { at } = this;
    if (at >= end) this.#failEnd();
    let byte = bytes[at++];
    this.low = byte & ((1 << bits) - 1);
    let value = (byte & 0x7f) >> bits;
    for (let shift = 7 - bits; byte > 0x7f; shift += 7) {
      if (shift > 24) return this.#long(at, value, 2 ** shift);
      if (at >= end) this.#failEnd();
      byte = bytes[at++];
      value |= (byte & 0x7f) << shift;
    }
    this.at = at;
    return value;
  }

  signed(): number {
    const magnitude = this.split(1);
    return this.low === 0 ? magnitude : 0 - magnitude;
  }

  /** Goes on with an integer at its fifth byte or so; bytes that add nothing may follow without end. */
  #long(from: number, low: number, factor: number): number {
    const { bytes, end } = this;
    let value = low;
    let at = from;
    for (let byte = 0x80; byte > 0x7f; factor *= 128) {
      if (at >= end) this.#failEnd();
      byte = bytes[at++];
      const group = byte & 0x7f;
      if (group !== 0) value += group * factor;
      if (value > LARGEST) {
        this.fail('limit', 'integers below 2^53', 'a larger one', 'Write the file in a coarser grid.');
      }
    }
    this.at = at;
    return value;
  }

  real(): number {
    const type = this.unsigned();
    switch (type) {
      case 0:
        return this.unsigned();
      case 1:
        return 0 - this.unsigned();
      case 2:
        return this.#finite(1 / this.unsigned());
      case 3:
        return this.#finite(-1 / this.unsigned());
      case 4:
        return this.#finite(this.unsigned() / this.unsigned());
      case 5:
        return 0 - this.#finite(this.unsigned() / this.unsigned());
      case 6:
        return this.#finite(this.bytes.readFloatLE(this.#skip(4)));
      case 7:
        return this.#finite(this.bytes.readDoubleLE(this.#skip(8)));
      default:
        return this.fail('malformed', 'a real of type 0 to 7', `type ${type}`, FETCH_AGAIN);
    }
  }

  #finite(value: number): number {
    if (!Number.isFinite(value)) this.fail('malformed', 'a finite real', `${value}`, FETCH_AGAIN);
    return value;
  }

  string(): string {
    const length = this.unsigned();
    const from = this.#skip(length);
    return decodeText(this.bytes, from, from + length);
  }

  /** A name: not empty, no control characters. The standard allows 0x21 to 0x7E; others are met and let pass. */
  name(): string {
    const name = this.string();
    if (name === '') this.fail('malformed', 'a name', 'an empty one', FETCH_AGAIN);
    // biome-ignore lint/suspicious/noControlCharactersInRegex: they are what is looked for
    if (/[\0-\x1f\x7f]/.test(name)) {
      this.fail('malformed', 'a name of printable characters', JSON.stringify(name), FETCH_AGAIN);
    }
    return name;
  }

  /** Steps over bytes. @returns where they begin */
  #skip(length: number): number {
    if (length > this.end - this.at) this.#failEnd(length);
    const from = this.at;
    this.at += length;
    return from;
  }

  /** Bytes of the file as they are. */
  raw(length: number): Buffer {
    const from = this.#skip(length);
    return this.bytes.subarray(from, from + length);
  }

  /** Checks a count of things that take up at least `bytesEach` bytes before anything is made for them. */
  count(count: number, what: string, bytesEach = 1): number {
    if (count * bytesEach > this.end - this.at) {
      this.fail('truncated', `${count} ${what}`, `${this.end - this.at} bytes to the end`, FETCH_AGAIN);
    }
    return count;
  }

  /** A g-delta, to `dx` and `dy`. */
  delta(): void {
    if (this.at >= this.end) this.#failEnd();
    if ((this.bytes[this.at] & 1) === 0) {
      const magnitude = this.split(4);
      this.#along(this.low >> 1, magnitude);
    } else {
      const magnitude = this.split(2);
      this.dx = (this.low & 2) === 0 ? magnitude : 0 - magnitude;
      this.dy = this.signed();
    }
  }

  /** A 2-delta (2 bits) or a 3-delta (3 bits), to `dx` and `dy`. */
  plainDelta(bits: 2 | 3): void {
    const magnitude = this.split(bits);
    this.#along(this.low, magnitude);
  }

  #along(direction: number, magnitude: number): void {
    // Adding 0 turns -0 into 0.
    this.dx = DIRECTION_X[direction] * magnitude + 0;
    this.dy = DIRECTION_Y[direction] * magnitude + 0;
  }

  /** Where the record at hand stands, for messages. */
  where(): string {
    const { block, recordStart, recordNumber, recordCode } = this;
    const offset = block < 0 ? `byte ${recordStart}` : `byte ${recordStart} of the CBLOCK at byte ${block}`;
    return `${offset}, record ${recordNumber}${recordCode < 0 ? '' : ` (${recordName(recordCode)})`}`;
  }

  fail(tag: InputTag, expected: string, found: string, remedy: string): never {
    throw new InputFault({ tag, file: this.#file, place: this.where(), expected, found, remedy });
  }

  #failEnd(wanted?: number): never {
    const what = this.block < 0 ? 'file' : 'CBLOCK';
    const expected = wanted === undefined ? 'a whole record' : `${wanted} more bytes`;
    return this.fail('truncated', expected, `the end of the ${what} at byte ${this.end}`, FETCH_AGAIN);
  }
}
