/** Bytes of a layout file in chunks, gzip looked through, so that a reader never holds the whole file. */
import { createReadStream } from 'node:fs';
import { type FileHandle, open } from 'node:fs/promises';
import { constants, createGunzip, gunzipSync } from 'node:zlib';
import { InputFault } from '../../../shared/errors.ts';

export interface ReadOptions {
  /** Stops the reading between two chunks. */
  readonly signal?: AbortSignal;
  /** Called after each chunk with the bytes of the file on disk read so far and in all. */
  readonly onProgress?: (bytesRead: number, bytesTotal: number) => void;
  /**
   * Refuses a compressed file that unpacks to more. Default: 64 MiB and 250 bytes for each packed one where the file is
   * read in passing (GDSII), 32 MiB and 100 where it is held in memory (OASIS).
   */
  readonly maximumUnpackedBytes?: number;
}

/** Consumes whole records from bytes[from .. to); returns the position of the first byte it leaves for later. */
export type Consume = (bytes: Buffer, view: DataView, from: number, to: number) => number;

/** Layouts pack 4 to 30 times; the floor lets small files of great regularity pass. */
const UNPACKED_FLOOR = 64 * 2 ** 20;
const UNPACKED_PER_BYTE = 250;
const WHOLE_FLOOR = 32 * 2 ** 20;
const WHOLE_PER_BYTE = 100;
/** Room before each chunk for what the last one left over. A record of GDSII is at most 65535 bytes. */
const HEADROOM = 64 * 1024;
const CHUNK_BYTES = 4 * 1024 * 1024;
const GZIP_CHUNK_BYTES = 1024 * 1024;

const isGzip = (bytes: Uint8Array): boolean => bytes[0] === 0x1f && bytes[1] === 0x8b;

/** The first bytes of the layout, looking through gzip. @throws InputFault when the file cannot be read. */
export async function readHead(file: string, length: number): Promise<Buffer> {
  const head = await withFile(file, async (handle) => {
    const { buffer, bytesRead } = await handle.read(Buffer.alloc(4096), 0, 4096, 0);
    return buffer.subarray(0, bytesRead);
  });
  if (!isGzip(head)) return head.subarray(0, length);
  try {
    // 4 KiB of gzip unpack to 4 MiB at the most. A sync flush gives what the cut stream holds.
    return gunzipSync(head, { finishFlush: constants.Z_SYNC_FLUSH }).subarray(0, length);
  } catch (cause) {
    throw gzipFault(file, cause);
  }
}

/**
 * Feeds a file to `consume`, chunk by chunk. Bytes that `consume` leaves come again in front of the next chunk.
 *
 * @returns bytes after decompression, and how many of them were left at the end
 * @throws InputFault when the file cannot be read, is a broken gzip file, or unpacks to more than allowed
 */
export async function feedFile(
  file: string,
  options: ReadOptions,
  consume: Consume,
): Promise<{ bytes: number; left: number }> {
  return withFile(file, async (handle) => {
    const total = (await handle.stat()).size;
    const { buffer: magic, bytesRead } = await handle.read(Buffer.alloc(2), 0, 2, 0);
    return bytesRead === 2 && isGzip(magic)
      ? feedGzip(file, total, options, consume)
      : feedPlain(handle, total, options, consume);
  });
}

/**
 * The whole layout in memory, gzip unpacked.
 *
 * @throws InputFault when the file cannot be read, is a broken gzip file, or unpacks to more than allowed
 */
export async function readWhole(
  file: string,
  options: ReadOptions,
): Promise<{ bytes: Buffer; diskBytes: number }> {
  return withFile(file, async (handle) => {
    const diskBytes = (await handle.stat()).size;
    const whole = roomFor(file, diskBytes);
    let used = 0;
    while (used < diskBytes) {
      options.signal?.throwIfAborted();
      const { bytesRead } = await handle.read(whole, used, Math.min(CHUNK_BYTES, diskBytes - used), used);
      if (bytesRead === 0) break;
      used += bytesRead;
    }
    const bytes = whole.subarray(0, used);
    if (!isGzip(bytes)) return { bytes, diskBytes };
    const pieces: Buffer[] = [];
    const silent = options.signal === undefined ? {} : { signal: options.signal };
    const limits = { ...silent, maximumUnpackedBytes: options.maximumUnpackedBytes ?? wholeLimit(diskBytes) };
    await feedGzip(file, diskBytes, limits, (chunk, _, from, to) => {
      pieces.push(Buffer.from(chunk.subarray(from, to)));
      return to;
    });
    return { bytes: Buffer.concat(pieces), diskBytes };
  });
}

function roomFor(file: string, bytes: number): Buffer {
  try {
    return Buffer.allocUnsafeSlow(bytes);
  } catch (cause) {
    const expected = 'a file that fits into the memory of this machine';
    const remedy = 'Use a machine with more memory, or write the layout as GDSII, which is read in passing.';
    throw new InputFault({ tag: 'limit', file, expected, found: `${bytes} bytes`, remedy }, { cause });
  }
}

/** Tighter than for formats that are read in passing. */
const wholeLimit = (packedBytes: number): number => WHOLE_FLOOR + WHOLE_PER_BYTE * packedBytes;

class Chunk {
  readonly bytes: Buffer;
  readonly view: DataView;

  constructor(capacity: number) {
    this.bytes = Buffer.allocUnsafeSlow(HEADROOM + capacity);
    this.view = new DataView(this.bytes.buffer);
  }
}

async function feedPlain(handle: FileHandle, total: number, options: ReadOptions, consume: Consume) {
  const capacity = Math.min(CHUNK_BYTES, total + 1);
  const read = (chunk: Chunk, position: number) => handle.read(chunk.bytes, HEADROOM, capacity, position);
  let chunk = new Chunk(capacity);
  let spare: Chunk | undefined;
  let bytes = 0;
  let left = 0;
  let pending = read(chunk, 0);
  for (;;) {
    const { bytesRead } = await pending;
    if (bytesRead === 0) return { bytes, left };
    options.signal?.throwIfAborted();
    bytes += bytesRead;
    // The next chunk is read while this one is parsed.
    spare ??= new Chunk(capacity);
    pending = read(spare, bytes);
    // A fault in the parser must not leave this promise unheard.
    pending.catch(() => undefined);
    const to = HEADROOM + bytesRead;
    const rest = consume(chunk.bytes, chunk.view, HEADROOM - left, to);
    left = to - rest;
    chunk.bytes.copy(spare.bytes, HEADROOM - left, rest, to);
    [chunk, spare] = [spare, chunk];
    options.onProgress?.(bytes, total);
  }
}

async function feedGzip(file: string, total: number, options: ReadOptions, consume: Consume) {
  const limit = options.maximumUnpackedBytes ?? UNPACKED_FLOOR + UNPACKED_PER_BYTE * total;
  const packed = createReadStream(file, { highWaterMark: GZIP_CHUNK_BYTES });
  const unpacked = packed.pipe(createGunzip({ chunkSize: GZIP_CHUNK_BYTES }));
  packed.on('error', (error) => unpacked.destroy(error));
  const chunk = new Chunk(GZIP_CHUNK_BYTES);
  let bytes = 0;
  let left = 0;
  try {
    const pieces = unpacked[Symbol.asyncIterator]();
    for (;;) {
      const piece = await nextPiece(file, pieces);
      if (piece === undefined) return { bytes, left };
      options.signal?.throwIfAborted();
      bytes += piece.length;
      if (bytes > limit) {
        throw new InputFault({
          tag: 'limit',
          file,
          expected: `at most ${limit} bytes after decompression (maximumUnpackedBytes)`,
          found: 'more than that',
          remedy: 'Unpack the file by hand and check that it is what you think it is.',
        });
      }
      piece.copy(chunk.bytes, HEADROOM);
      const to = HEADROOM + piece.length;
      const rest = consume(chunk.bytes, chunk.view, HEADROOM - left, to);
      left = to - rest;
      chunk.bytes.copy(chunk.bytes, HEADROOM - left, rest, to);
      options.onProgress?.(packed.bytesRead, total);
    }
  } finally {
    packed.destroy();
    unpacked.destroy();
  }
}

async function nextPiece(file: string, pieces: AsyncIterator<Buffer>): Promise<Buffer | undefined> {
  try {
    const { value, done } = await pieces.next();
    return done ? undefined : value;
  } catch (cause) {
    throw gzipFault(file, cause);
  }
}

function gzipFault(file: string, cause: unknown): InputFault {
  const code = (cause as NodeJS.ErrnoException).code ?? '';
  const truncated = code === 'Z_BUF_ERROR';
  return new InputFault(
    {
      tag: truncated ? 'truncated' : 'malformed',
      file,
      expected: 'a whole gzip file',
      found: truncated
        ? 'a gzip file that ends in the middle'
        : `a gzip file that does not unpack (${(cause as Error).message})`,
      remedy: 'Fetch or pack the file again.',
    },
    { cause },
  );
}

async function withFile<T>(file: string, use: (handle: FileHandle) => Promise<T>): Promise<T> {
  let handle: FileHandle;
  try {
    handle = await open(file, 'r');
    const stat = await handle.stat();
    if (!stat.isFile()) {
      await handle.close();
      throw new InputFault({ tag: 'malformed', file, expected: 'a layout file', found: 'no regular file' });
    }
  } catch (cause) {
    throw openingFault(file, cause);
  }
  try {
    return await use(handle);
  } finally {
    await handle.close();
  }
}

function openingFault(file: string, cause: unknown): unknown {
  const code = (cause as NodeJS.ErrnoException).code;
  const expected = 'a layout file';
  if (code === 'ENOENT' || code === 'ENOTDIR') {
    const remedy = 'Check the name under chip: layout: file: in the campaign.';
    return new InputFault({ tag: 'missing-file', file, expected, found: 'nothing', remedy }, { cause });
  }
  if (code === 'EACCES' || code === 'EPERM') {
    const found = 'a file that may not be read';
    const remedy = 'Give yourself permission to read it.';
    return new InputFault({ tag: 'no-permission', file, expected, found, remedy }, { cause });
  }
  return cause;
}
