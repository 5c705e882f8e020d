/**
 * Decoders for the bytes of Zarr chunks that never make more than a chunk can hold. They take the place of zarrita's
 * own, which unpack whatever they are given, do not look at checksums, and do not notice when blosc or lz4 data are
 * damaged.
 */
import { constants, gunzip, type InputType, inflate, zstdDecompress } from 'node:zlib';
import { registry } from 'zarrita';
import { decodeBlosc } from './blosc.ts';
import { crc32c } from './crc32c.ts';
import { DamagedData } from './damaged-data.ts';
import { decodeLz4 } from './lz4.ts';

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

/** @source numcodecs, LZ4: the unpacked size in four bytes, little-endian, before the block. */
function sizedLz4(bytes: Uint8Array, most: number): Uint8Array {
  const size = bytes.length < 4 ? -1 : new DataView(bytes.buffer, bytes.byteOffset).getInt32(0, true);
  if (size < 0 || size > most) throw new DamagedData(`lz4 data for ${size} bytes`);
  const out = new Uint8Array(size);
  decodeLz4(bytes.subarray(4), out);
  return out;
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
    blosc: decodeBlosc,
    lz4: sizedLz4,
  };
  for (const [name, decode] of Object.entries(decoders)) {
    register(name, decode);
    register(`numcodecs.${name}`, decode);
  }
  register('crc32c', checkedCrc32c, { computeEncodedSize: (size) => size + 4 });
}
