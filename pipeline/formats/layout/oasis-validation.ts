/**
 * The signature in the END record.
 *
 * @source SEMI P39 (OASIS), END: scheme 0 none, 1 CRC-32 (that of ISO 3309, as in gzip), 2 sum of all bytes modulo 2^32;
 * four bytes, lowest first, over the whole file up to the signature itself.
 */
import { crc32 } from 'node:zlib';
import { FETCH_AGAIN, type OasisCursor } from './oasis-cursor.ts';

const PIECE = 1 << 24;

export const SCHEMES = ['none', 'CRC-32', 'checksum-32'] as const;

export function signatureOf(scheme: 1 | 2, bytes: Buffer, length: number): number {
  let value = 0;
  for (let from = 0; from < length; from += PIECE) {
    const piece = bytes.subarray(from, Math.min(from + PIECE, length));
    value = scheme === 1 ? crc32(piece, value) : (value + sum(piece)) >>> 0;
  }
  return value;
}

function sum(piece: Buffer): number {
  let value = 0;
  for (let at = 0; at < piece.length; at++) value += piece[at];
  return value;
}

/** Reads scheme and signature and compares. @throws InputFault with both values where they differ */
export function checkSignature(cursor: OasisCursor): void {
  const scheme = cursor.unsigned();
  if (scheme === 0) return;
  if (scheme !== 1 && scheme !== 2) {
    cursor.fail('unsupported', 'validation scheme 0, 1 or 2', `${scheme}`, FETCH_AGAIN);
  }
  const length = cursor.at;
  const stored = cursor.raw(4).readUInt32LE();
  const computed = signatureOf(scheme, cursor.bytes, length);
  if (stored === computed) return;
  cursor.fail(
    'inconsistent',
    `the ${SCHEMES[scheme]} ${hex(stored)} that the file states of itself`,
    `${hex(computed)}`,
    'Fetch the file again; some of its bytes are not those that were written.',
  );
}

const hex = (value: number): string => `0x${value.toString(16).padStart(8, '0')}`;
