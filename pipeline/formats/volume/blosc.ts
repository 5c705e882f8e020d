/**
 * Blosc 1 containers: blocks, each split into streams by the bytes of a value, packed by one of five coders, and then
 * the bytes or bits of the values put back together. Decoded here because the decoder at hand (numcodecs 0.3.2) gives
 * out whatever its memory holds where a block does not decode.
 * @source c-blosc 1.x, README_CHUNK_FORMAT and blosc.c (blosc_d, shuffle.c, bitshuffle-generic.c).
 */
import { inflateSync, zstdDecompressSync } from 'node:zlib';
import { decodeBlosclz } from './blosclz.ts';
import { DamagedData } from './damaged-data.ts';
import { decodeLz4 } from './lz4.ts';
import { decodeSnappy } from './snappy.ts';

/** Versions and flags, size of a value, then bytes unpacked, per block and packed, 32 bits each, little-endian. */
const HEADER = 16;
const SHUFFLED = 1;
const STORED = 2;
const BITS_SHUFFLED = 4;
const NOT_SPLIT = 16;
/** A block is split into as many streams as a value has bytes, where they are few and the block is not too short. */
const MOST_STREAMS = 16;
const LEAST_VALUES = 128;

type Coder = (input: Uint8Array, out: Uint8Array) => void;

const CODERS: readonly (Coder | undefined)[] = [
  decodeBlosclz,
  decodeLz4,
  decodeSnappy,
  (input, out) => unzip('zlib', inflateSync, input, out),
  (input, out) => unzip('zstd', zstdDecompressSync, input, out),
];

/**
 * @param most bytes that may be made
 * @throws DamagedData for what does not decode, or would make more
 */
export function decodeBlosc(bytes: Uint8Array, most: number): Uint8Array {
  if (bytes.length < HEADER) throw new DamagedData(`blosc data of ${bytes.length} bytes`);
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const flags = bytes[2];
  const valueBytes = bytes[3];
  const [size, blockBytes, packed] = [4, 8, 12].map((at) => view.getUint32(at, true));
  if (bytes[0] < 1 || bytes[0] > 2) throw new DamagedData(`blosc data of version ${bytes[0]}`);
  if (size > most) throw new DamagedData(`blosc data for ${size} bytes, more than a chunk`);
  if (packed > bytes.length || packed < HEADER) {
    throw new DamagedData(`blosc data of ${bytes.length} of ${packed} bytes`);
  }
  if (flags & STORED) {
    if (HEADER + size > packed) throw new DamagedData(`blosc data of ${packed - HEADER} of ${size} bytes`);
    return bytes.slice(HEADER, HEADER + size);
  }
  const coder = CODERS[flags >> 5];
  if (!coder) throw new DamagedData(`blosc data of the unknown coder ${flags >> 5}`);
  if (size > 0 && (blockBytes === 0 || blockBytes > size || valueBytes === 0)) {
    throw new DamagedData(`blosc blocks of ${blockBytes} bytes in ${size}`);
  }
  const out = new Uint8Array(size);
  const isShuffled = (flags & SHUFFLED) !== 0 && valueBytes > 1;
  const areBitsShuffled = (flags & BITS_SHUFFLED) !== 0;
  const buffer = isShuffled || areBitsShuffled ? new Uint8Array(blockBytes) : null;
  const blocks = size === 0 ? 0 : Math.ceil(size / blockBytes);
  if (HEADER + 4 * blocks > packed)
    throw new DamagedData(`blosc data of ${blocks} blocks in ${packed} bytes`);
  for (let block = 0; block < blocks; block++) {
    const from = block * blockBytes;
    const length = Math.min(blockBytes, size - from);
    const target = out.subarray(from, from + length);
    const part = buffer ? buffer.subarray(0, length) : target;
    const isLast = length < blockBytes;
    const isSplit =
      !(flags & NOT_SPLIT) &&
      valueBytes <= MOST_STREAMS &&
      blockBytes / valueBytes >= LEAST_VALUES &&
      !isLast;
    readStreams(
      bytes,
      view,
      packed,
      view.getUint32(HEADER + 4 * block, true),
      isSplit ? valueBytes : 1,
      part,
      coder,
    );
    if (!buffer) continue;
    // Version 2 leaves the bits alone where the values are no multiple of eight.
    if (areBitsShuffled) joinBits(part, target, valueBytes);
    else joinBytes(part, target, valueBytes);
  }
  return out;
}

function readStreams(
  bytes: Uint8Array,
  view: DataView,
  end: number,
  start: number,
  streams: number,
  out: Uint8Array,
  coder: Coder,
): void {
  let at = start;
  const each = Math.floor(out.length / streams);
  if (each * streams !== out.length)
    throw new DamagedData(`${streams} blosc streams for ${out.length} bytes`, at);
  for (let stream = 0; stream < streams; stream++) {
    if (at < HEADER || at + 4 > end) throw new DamagedData('a blosc block past the end', at);
    const length = view.getInt32(at, true);
    at += 4;
    if (length < 0 || at + length > end) throw new DamagedData(`a blosc stream of ${length} bytes`, at);
    const input = bytes.subarray(at, at + length);
    const target = out.subarray(stream * each, (stream + 1) * each);
    if (length === each) target.set(input);
    else coder(input, target);
    at += length;
  }
}

function unzip(
  name: string,
  decode: (input: Uint8Array, options: { maxOutputLength: number }) => Uint8Array,
  input: Uint8Array,
  out: Uint8Array,
): void {
  let result: Uint8Array;
  try {
    result = decode(input, { maxOutputLength: Math.max(1, out.length) });
  } catch (error) {
    throw new DamagedData(`${name} data that do not decode (${(error as NodeJS.ErrnoException).code})`);
  }
  if (result.length !== out.length)
    throw new DamagedData(`${name} data of ${result.length} of ${out.length} bytes`);
  out.set(result);
}

/** First all first bytes, then all second ones: value by value again. What is left over stands as it is. */
function joinBytes(from: Uint8Array, into: Uint8Array, size: number): void {
  const count = Math.floor(from.length / size);
  if (size === 2) {
    for (let n = 0, at = 0; n < count; n++) {
      into[at++] = from[n];
      into[at++] = from[count + n];
    }
  } else if (size === 4) {
    const [second, third, fourth] = [count, 2 * count, 3 * count];
    for (let n = 0, at = 0; n < count; n++) {
      into[at++] = from[n];
      into[at++] = from[second + n];
      into[at++] = from[third + n];
      into[at++] = from[fourth + n];
    }
  } else {
    for (let byte = 0; byte < size; byte++) {
      for (let n = 0, at = byte; n < count; n++, at += size) into[at] = from[byte * count + n];
    }
  }
  into.set(from.subarray(count * size), count * size);
}

/** Bit n of every value stands together, in ascending order of n, eight values to a byte. */
function joinBits(from: Uint8Array, into: Uint8Array, size: number): void {
  const count = Math.floor(from.length / size);
  if (count % 8 !== 0) {
    into.set(from);
    return;
  }
  const row = count / 8;
  for (let byte = 0; byte < size; byte++) {
    const base = byte * 8 * row;
    const [b1, b2, b3, b4] = [base + row, base + 2 * row, base + 3 * row, base + 4 * row];
    const [b5, b6, b7] = [b4 + row, b4 + 2 * row, b4 + 3 * row];
    for (let group = 0, at = byte; group < row; group++, at += 8 * size) {
      // One byte of each bit: a table of eight by eight bits in two halves, turned over.
      // @source H. S. Warren, Hacker's Delight, 7-3, for 64 bits, least significant bit first.
      let low =
        from[base + group] | (from[b1 + group] << 8) | (from[b2 + group] << 16) | (from[b3 + group] << 24);
      let high =
        from[b4 + group] | (from[b5 + group] << 8) | (from[b6 + group] << 16) | (from[b7 + group] << 24);
      let t = (low ^ (low >>> 7)) & 0x00aa00aa;
      low ^= t ^ (t << 7);
      t = (high ^ (high >>> 7)) & 0x00aa00aa;
      high ^= t ^ (t << 7);
      t = (low ^ (low >>> 14)) & 0x0000cccc;
      low ^= t ^ (t << 14);
      t = (high ^ (high >>> 14)) & 0x0000cccc;
      high ^= t ^ (t << 14);
      t = (low ^ ((low >>> 28) | (high << 4))) & 0xf0f0f0f0;
      low ^= t;
      high ^= t >>> 4;
      into[at] = low;
      into[at + size] = low >>> 8;
      into[at + 2 * size] = low >>> 16;
      into[at + 3 * size] = low >>> 24;
      into[at + 4 * size] = high;
      into[at + 5 * size] = high >>> 8;
      into[at + 6 * size] = high >>> 16;
      into[at + 7 * size] = high >>> 24;
    }
  }
  into.set(from.subarray(count * size), count * size);
}
