/**
 * The header and the chain of image file directories of classic and BigTIFF files.
 * @source TIFF Revision 6.0 (Aldus, 1992), section 2; the BigTIFF layout as libtiff documents it.
 */
import type { TiffFile } from './tiff-file.ts';
import { TAG, type TagName } from './tiff-tags.ts';

export interface TiffHeader {
  readonly littleEndian: boolean;
  readonly big: boolean;
  /** Byte position of the first directory. */
  readonly first: number;
}

export interface TiffEntry {
  readonly type: number;
  readonly count: number;
  /** Byte position of the values, inside the entry itself where they are short. */
  readonly at: number;
}

export interface TiffDirectory {
  readonly at: number;
  readonly entries: ReadonlyMap<number, TiffEntry>;
  /** Byte position of the next directory; 0 at the end of the chain. */
  readonly next: number;
}

/** Bytes of one value by field type number; types that no reader needs are absent. */
const FIELD_BYTES: Readonly<Record<number, number>> = {
  1: 1, // BYTE
  2: 1, // ASCII
  3: 2, // SHORT
  4: 4, // LONG
  5: 8, // RATIONAL
  6: 1, // SBYTE
  7: 1, // UNDEFINED
  8: 2, // SSHORT
  9: 4, // SLONG
  10: 8, // SRATIONAL
  11: 4, // FLOAT
  12: 8, // DOUBLE
  13: 4, // IFD
  16: 8, // LONG8
  17: 8, // SLONG8
  18: 8, // IFD8
};

/** Real directories hold some tens of entries; more than this is damage. */
const MOST_ENTRIES = 4096;

const NOT_TIFF = 'Check that the file is a TIFF image and was copied whole.';

/** @throws InputFault when the file is not a TIFF file. */
export async function readHeader(file: TiffFile): Promise<TiffHeader> {
  const head = await file.bytes(0, 8, 'a TIFF header', null);
  const mark = head.getUint16(0);
  const littleEndian = mark === 0x4949;
  const version = head.getUint16(2, littleEndian);
  if ((!littleEndian && mark !== 0x4d4d) || (version !== 42 && version !== 43)) {
    throw file.fault('malformed', null, 0, {
      expected: 'a TIFF header (II or MM, then 42 or 43)',
      found: `the bytes ${hex(head, 4)}`,
      remedy: NOT_TIFF,
    });
  }
  if (version === 42) return { littleEndian, big: false, first: head.getUint32(4, littleEndian) };
  const rest = await file.bytes(0, 16, 'a BigTIFF header', null);
  if (rest.getUint16(4, littleEndian) !== 8 || rest.getUint16(6, littleEndian) !== 0) {
    throw file.fault('malformed', null, 4, {
      expected: 'a BigTIFF header with offsets of 8 bytes',
      found: `the bytes ${hex(rest, 8)}`,
      remedy: NOT_TIFF,
    });
  }
  return { littleEndian, big: true, first: Number(rest.getBigUint64(8, littleEndian)) };
}

/** @throws InputFault when the directory reaches past the end of the file or cannot be one. */
export async function readDirectory(
  file: TiffFile,
  header: TiffHeader,
  at: number,
  page: number,
): Promise<TiffDirectory> {
  const { littleEndian, big } = header;
  const countBytes = big ? 8 : 2;
  const entryBytes = big ? 20 : 12;
  const start = await file.bytes(at, countBytes, 'an image directory', page);
  const count = big ? Number(start.getBigUint64(0, littleEndian)) : start.getUint16(0, littleEndian);
  if (count === 0 || count > MOST_ENTRIES) {
    throw file.fault('malformed', page, at, {
      expected: `an image directory of 1 to ${MOST_ENTRIES} entries`,
      found: `${count}`,
      remedy: 'The file is damaged: copy it again from where it was made.',
    });
  }
  const from = at + countBytes;
  const bodyBytes = count * entryBytes + (big ? 8 : 4);
  const body = await file.bytes(from, bodyBytes, `an image directory of ${count} entries`, page);
  const entries = new Map<number, TiffEntry>();
  for (let index = 0; index < count; index++) {
    const base = index * entryBytes;
    const tag = body.getUint16(base, littleEndian);
    const type = body.getUint16(base + 2, littleEndian);
    const values = big
      ? Number(body.getBigUint64(base + 4, littleEndian))
      : body.getUint32(base + 4, littleEndian);
    const size = FIELD_BYTES[type];
    // Types that came later are skipped, as the specification asks of readers.
    if (size === undefined || entries.has(tag)) continue;
    const valueBase = base + (big ? 12 : 8);
    const inside = values * size <= (big ? 8 : 4);
    const pointer = big
      ? Number(body.getBigUint64(valueBase, littleEndian))
      : body.getUint32(valueBase, littleEndian);
    entries.set(tag, { type, count: values, at: inside ? from + valueBase : pointer });
  }
  const nextAt = count * entryBytes;
  const next = big ? Number(body.getBigUint64(nextAt, littleEndian)) : body.getUint32(nextAt, littleEndian);
  return { at, entries, next };
}

/** The numbers of an entry; the two halves of a rational come as their quotient. */
export async function readNumbers(
  file: TiffFile,
  header: TiffHeader,
  entry: TiffEntry,
  what: string,
  page: number,
): Promise<Float64Array> {
  const size = FIELD_BYTES[entry.type] ?? 1;
  const view = await file.bytes(entry.at, entry.count * size, what, page);
  const numbers = new Float64Array(entry.count);
  const little = header.littleEndian;
  for (let index = 0; index < entry.count; index++) {
    numbers[index] = readNumber(view, entry.type, index * size, little);
  }
  return numbers;
}

/**
 * The first number of a tag.
 * @throws InputFault when it is absent without a fallback, or not a number.
 */
export async function readValue(
  file: TiffFile,
  header: TiffHeader,
  directory: TiffDirectory,
  page: number,
  tag: TagName,
  fallback?: number,
): Promise<number> {
  const entry = directory.entries.get(TAG[tag]);
  if (!entry && fallback !== undefined) return fallback;
  const isThere = entry !== undefined && entry.count > 0;
  const number = isThere
    ? (await readNumbers(file, header, { ...entry, count: 1 }, tag, page))[0]
    : undefined;
  if (number === undefined || !Number.isInteger(number)) {
    throw file.fault('malformed', page, entry?.at ?? directory.at, {
      expected: `a whole number for ${tag} (tag ${TAG[tag]})`,
      found: entry ? `${number ?? 'no value'}` : 'no such tag',
      remedy: 'The file is damaged: copy it again from where it was made.',
    });
  }
  return number;
}

/** The text of an entry, up to `most` bytes. UTF-8 where it is valid, else Latin-1: older writers used that. */
export async function readText(
  file: TiffFile,
  entry: TiffEntry,
  page: number,
  most: number,
): Promise<string> {
  const length = Math.min(entry.count * (FIELD_BYTES[entry.type] ?? 1), most);
  const view = await file.bytes(entry.at, length, 'a text', page);
  const bytes = new Uint8Array(view.buffer, view.byteOffset, view.byteLength);
  const end = bytes.indexOf(0);
  const text = end < 0 ? bytes : bytes.subarray(0, end);
  try {
    // Streaming leaves out a character that the limit cut in two, instead of calling it invalid.
    return new TextDecoder('utf-8', { fatal: true }).decode(text, { stream: true });
  } catch {
    return new TextDecoder('latin1').decode(text);
  }
}

function readNumber(view: DataView, type: number, at: number, little: boolean): number {
  switch (type) {
    case 3:
      return view.getUint16(at, little);
    case 4:
    case 13:
      return view.getUint32(at, little);
    case 5:
      return view.getUint32(at, little) / view.getUint32(at + 4, little);
    case 6:
      return view.getInt8(at);
    case 8:
      return view.getInt16(at, little);
    case 9:
      return view.getInt32(at, little);
    case 10:
      return view.getInt32(at, little) / view.getInt32(at + 4, little);
    case 11:
      return view.getFloat32(at, little);
    case 12:
      return view.getFloat64(at, little);
    case 16:
    case 18:
      return Number(view.getBigUint64(at, little));
    case 17:
      return Number(view.getBigInt64(at, little));
    default:
      return view.getUint8(at);
  }
}

function hex(view: DataView, count: number): string {
  return Array.from({ length: count }, (_, index) => view.getUint8(index).toString(16).padStart(2, '0')).join(
    ' ',
  );
}
