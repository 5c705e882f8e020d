/** How strips and tiles are compressed: codes, names, and what each can make of how many bytes. */
import { inflate, inflateSync, zstdDecompress } from 'node:zlib';
import { DamagedData } from './damaged-data.ts';
import { decodeLzw } from './lzw.ts';
import { decodePackBits } from './packbits.ts';

/** Bytes that are not shared with another thread. */
export type Bytes = Uint8Array<ArrayBuffer>;

export interface TiffCodec {
  readonly name: string;
  /** No data of this kind grow by more than this factor: a check before memory is set aside. */
  readonly mostGrowth: number;
  /** Whether writers may apply a predictor before it. */
  readonly predicts: boolean;
  /** Up to `size` bytes, `width` pixels to a row; fewer where the data end early. May return `input` itself. */
  decode(input: Bytes, size: number, width: number): Bytes | Promise<Bytes>;
}

const deflate: TiffCodec = {
  name: 'deflate',
  // @source zlib's technical notes: a factor of 1032 at most.
  mostGrowth: 1032,
  predicts: true,
  decode: decodeDeflate,
};

export const TIFF_CODECS: Readonly<Record<number, TiffCodec>> = {
  1: { name: 'none', mostGrowth: 1, predicts: false, decode: (input) => input },
  // A code of at most 12 bits stands for a string shorter than the table of 4096 entries.
  5: { name: 'LZW', mostGrowth: (4096 * 8) / 9, predicts: true, decode: decodeLzw },
  8: deflate,
  32773: { name: 'PackBits', mostGrowth: 64, predicts: false, decode: decodePackBits },
  32946: deflate,
  50000: {
    name: 'Zstandard',
    // A block of at most 128 kB takes four bytes where it repeats one.
    mostGrowth: 131072 / 4,
    predicts: true,
    decode: decodeZstd,
  },
};

/** Names of compressions that are not read, for messages. */
export const OTHER_COMPRESSIONS: Readonly<Record<number, string>> = {
  2: 'CCITT run lengths',
  3: 'fax group 3',
  4: 'fax group 4',
  6: 'old JPEG',
  34712: 'JPEG 2000',
  34887: 'LERC',
  34925: 'LZMA',
  50001: 'WebP',
};

/** Below this a hand-over to another thread costs more than the work itself. */
const WORTH_A_THREAD = 64 * 1024;

function decodeDeflate(input: Bytes, size: number): Bytes | Promise<Bytes> {
  // One output buffer of the whole size: the spare bytes let zlib see the end without asking for a second one.
  const options = { maxOutputLength: size, chunkSize: size + 64 };
  if (size >= WORTH_A_THREAD) {
    return new Promise((resolve, reject) => {
      inflate(input, options, (error, result) => (error ? reject(asDamage(error)) : resolve(result)));
    });
  }
  try {
    return inflateSync(input, options);
  } catch (error) {
    throw asDamage(error);
  }
}

function decodeZstd(input: Bytes, size: number): Promise<Bytes> {
  return new Promise((resolve, reject) => {
    zstdDecompress(input, { maxOutputLength: size }, (error, result) => {
      if (!error) return resolve(result);
      const { code = '' } = error as NodeJS.ErrnoException;
      const isLong = code === 'ERR_BUFFER_TOO_LARGE';
      const found = isLong
        ? 'Zstandard data for more voxels than the page has'
        : `Zstandard data that do not decode`;
      reject(new DamagedData(isLong ? found : `${found} (${code})`));
    });
  });
}

function asDamage(error: unknown): unknown {
  const code = (error as NodeJS.ErrnoException).code ?? '';
  if (code === 'ERR_BUFFER_TOO_LARGE')
    return new DamagedData('deflate data for more voxels than the page has');
  return code.startsWith('Z_') ? new DamagedData(`deflate data that do not decode (${code})`) : error;
}
