/**
 * Decoders for the bytes of Zarr chunks that never make more than a chunk can hold. They take the place of zarrita's
 * own, which unpack whatever they are given and do not look at checksums.
 */
import { constants, gunzip, type InputType, inflate, zstdDecompress } from 'node:zlib';
import { registry } from 'zarrita';
import { crc32c } from './crc32c.ts';
import { DamagedData } from './damaged-data.ts';

/** Codecs from bytes to bytes; in Zarr v2 each is called by its plain name. */
export const COMPRESSORS: ReadonlySet<string> = new Set(['blosc', 'gzip', 'zlib', 'zstd', 'lz4']);

const ITEM_BYTES: Readonly<Record<string, number>> = {
  int8: 1,
  uint8: 1,
  int16: 2,
  uint16: 2,
  float16: 2,
  int32: 4,
  uint32: 4,
  float32: 4,
  int64: 8,
  uint64: 8,
  float64: 8,
};

interface ChunkMeta {
  readonly dataType: string;
  readonly shape: readonly number[];
}

interface BytesCodec {
  readonly kind: 'bytes_to_bytes';
  encode(bytes: Uint8Array): never;
  decode(bytes: Uint8Array): Promise<Uint8Array>;
  readonly computeEncodedSize?: (size: number) => number;
}

type Decode = (bytes: Uint8Array, most: number) => Uint8Array | Promise<Uint8Array>;

/** Most bytes that a step may make: data packed twice over may be a little longer than the chunk in between. */
export const mostBytes = (chunkBytes: number): number => 2 * chunkBytes + 65536;

function register(name: string, decode: Decode, more: Pick<BytesCodec, 'computeEncodedSize'> = {}): void {
  const entry = {
    kind: 'bytes_to_bytes',
    fromConfig: (_: unknown, meta: ChunkMeta): BytesCodec => {
      const items = meta.shape.reduce((product, side) => product * side, 1);
      const most = mostBytes(items * (ITEM_BYTES[meta.dataType] ?? 8));
      return {
        kind: 'bytes_to_bytes',
        encode: () => {
          throw new Error('volumes are read only');
        },
        decode: async (bytes) => decode(bytes, most),
        ...more,
      };
    },
  };
  // zarrita keeps the type of its entries to itself.
  registry.set(name, (async () => entry) as unknown as Parameters<typeof registry.set>[1]);
}

type Unzip = (
  bytes: InputType,
  options: { maxOutputLength: number; finishFlush?: number },
  done: (error: Error | null, result: Buffer) => void,
) => void;

function unzipped(name: string, unzip: Unzip): Decode {
  return (bytes, most) =>
    new Promise((resolve, reject) => {
      unzip(bytes, { maxOutputLength: most }, (error, result) => {
        if (!error) return resolve(result);
        const { code = '' } = error as NodeJS.ErrnoException;
        const tooLong = code === 'ERR_BUFFER_TOO_LARGE';
        const found = tooLong
          ? `${name} data for more than a chunk`
          : `${name} data that do not decode (${code})`;
        reject(new DamagedData(found));
      });
    });
}

/**
 * @source c-blosc, README_CHUNK_FORMAT: versions, flags and item size in a byte each, then unpacked bytes, block bytes
 * and packed bytes, 32 bits each, little-endian.
 */
const BLOSC_HEADER = 16;

function checkedBlosc(decode: Decode): Decode {
  return async (bytes, most) => {
    if (bytes.length < BLOSC_HEADER) throw new DamagedData(`blosc data of ${bytes.length} bytes`);
    const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
    const [unpacked, block, packed] = [4, 8, 12].map((at) => view.getUint32(at, true));
    if (unpacked > most) throw new DamagedData(`blosc data for ${unpacked} bytes, more than a chunk`);
    if (packed > bytes.length) throw new DamagedData(`blosc data of ${bytes.length} of ${packed} bytes`);
    if (block > Math.max(unpacked, 1) || (block === 0 && unpacked > 0)) {
      throw new DamagedData(`blosc blocks of ${block} bytes in ${unpacked}`);
    }
    return decode(bytes, most);
  };
}

/** @source numcodecs, LZ4: the unpacked size in four bytes, little-endian, before the block. */
function checkedLz4(decode: Decode): Decode {
  return async (bytes, most) => {
    const size = bytes.length < 4 ? -1 : new DataView(bytes.buffer, bytes.byteOffset).getInt32(0, true);
    if (size < 0 || size > most) throw new DamagedData(`lz4 data for ${size} bytes`);
    return decode(bytes, most);
  };
}

function checkedCrc32c(bytes: Uint8Array): Uint8Array {
  const at = bytes.length - 4;
  if (at < 0) throw new DamagedData(`${bytes.length} bytes where a checksum should be`);
  const stated = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength).getUint32(at, true);
  const body = bytes.subarray(0, at);
  const found = crc32c(body);
  if (found !== stated)
    throw new DamagedData(`checksum ${found.toString(16)} instead of ${stated.toString(16)}`);
  return body;
}

/** zarrita's own decoder of that name, loaded when it is first needed. */
function original(name: string): Decode {
  const load = registry.get(name) as unknown as () => Promise<{ fromConfig(config: object): BytesCodec }>;
  let codec: Promise<BytesCodec> | null = null;
  return async (bytes) => {
    codec ??= load().then((entry) => entry.fromConfig({}));
    try {
      return await (await codec).decode(bytes);
    } catch (error) {
      throw new DamagedData(`${name} data that do not decode (${reasonOf(error)})`);
    }
  };
}

const reasonOf = (error: unknown): string =>
  error instanceof Error ? error.message.slice(0, 100) : String(error).slice(0, 100);

let isRegistered = false;

/** Puts these decoders into zarrita's registry, once per thread. */
export function registerCodecs(): void {
  if (isRegistered) return;
  isRegistered = true;
  const decoders: Readonly<Record<string, Decode>> = {
    gzip: unzipped('gzip', gunzip),
    zlib: unzipped('zlib', inflate),
    zstd: unzipped('zstd', (bytes, options, done) =>
      zstdDecompress(bytes, { ...options, finishFlush: constants.ZSTD_e_end }, done),
    ),
    blosc: checkedBlosc(original('blosc')),
    lz4: checkedLz4(original('lz4')),
  };
  for (const [name, decode] of Object.entries(decoders)) {
    register(name, decode);
    register(`numcodecs.${name}`, decode);
  }
  register('crc32c', checkedCrc32c, { computeEncodedSize: (size) => size + 4 });
}
