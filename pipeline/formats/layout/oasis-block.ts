/**
 * CBLOCK: records packed with DEFLATE.
 *
 * @source SEMI P39 (OASIS), CBLOCK; RFC 1951 for the compression (no zlib or gzip header).
 */
import { inflateRawSync } from 'node:zlib';
import { FETCH_AGAIN, type OasisCursor } from './oasis-cursor.ts';

/** DEFLATE packs at most 258 bytes into 2 bits; a stated size beyond that cannot be true. */
const MAXIMUM_RATIO = 1032;
/** All blocks of a file may unpack to this much, */
const FLOOR = 32 * 2 ** 20;
/** and so many bytes more for each byte of the file. */
const PER_BYTE = 100;
/** One output buffer of the unpacking. */
const MAXIMUM_CHUNK = 16 * 2 ** 20;

export class BlockUnpacker {
  readonly #cursor: OasisCursor;
  readonly #limit: number;
  #unpacked = 0;

  constructor(cursor: OasisCursor, fileBytes: number, limit = FLOOR + PER_BYTE * fileBytes) {
    this.#cursor = cursor;
    this.#limit = limit;
  }

  /** Reads the rest of a CBLOCK record. @returns its content */
  read(): Buffer {
    const cursor = this.#cursor;
    const type = cursor.unsigned();
    if (type !== 0) cursor.fail('unsupported', 'compression type 0 (DEFLATE)', `type ${type}`, FETCH_AGAIN);
    const stated = cursor.unsigned();
    const packed = cursor.raw(cursor.unsigned());
    if (stated > MAXIMUM_RATIO * packed.length) {
      const expected = `at most ${MAXIMUM_RATIO} x ${packed.length} unpacked bytes, which is as far as DEFLATE goes`;
      cursor.fail('malformed', expected, `${stated}`, FETCH_AGAIN);
    }
    this.#unpacked += stated;
    if (this.#unpacked > this.#limit) {
      cursor.fail(
        'limit',
        `at most ${this.#limit} bytes in all CBLOCKs together (maximumUnpackedBytes)`,
        `${this.#unpacked} with this one`,
        'Check that the file is what you think it is; raise maximumUnpackedBytes if so.',
      );
    }
    return stated === 0 && packed.length === 0 ? packed : this.#inflate(packed, stated);
  }

  #inflate(packed: Buffer, stated: number): Buffer {
    const cursor = this.#cursor;
    let unpacked: { buffer: Buffer; engine: { bytesWritten: number } };
    try {
      // One byte more than stated, to tell too much from enough.
      const maxOutputLength = stated + 1;
      const chunkSize = Math.min(MAXIMUM_CHUNK, Math.max(64, maxOutputLength));
      const options = { maxOutputLength, chunkSize, info: true } as const;
      unpacked = inflateRawSync(packed, options) as unknown as typeof unpacked;
    } catch (cause) {
      const { code, message } = cause as NodeJS.ErrnoException;
      if (code === 'ERR_BUFFER_TOO_LARGE') {
        return cursor.fail('inconsistent', `${stated} unpacked bytes, as stated`, 'more', FETCH_AGAIN);
      }
      const found = `bytes that do not unpack (${message})`;
      return cursor.fail('malformed', 'a whole DEFLATE stream', found, FETCH_AGAIN);
    }
    const { buffer, engine } = unpacked;
    if (buffer.length !== stated) {
      cursor.fail('inconsistent', `${stated} unpacked bytes, as stated`, `${buffer.length}`, FETCH_AGAIN);
    }
    if (engine.bytesWritten !== packed.length) {
      const found = `a stream that ends after ${engine.bytesWritten}`;
      cursor.fail('inconsistent', `${packed.length} packed bytes, as stated`, found, FETCH_AGAIN);
    }
    return buffer;
  }
}
