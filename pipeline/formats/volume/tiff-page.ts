/** One page of a TIFF file: what its directory says, checked against itself and the file before any voxel is read. */
import type { VoxelType } from '../volume.ts';
import { bytesPerVoxel } from './sample-types.ts';
import { type ChunkGrid, readChunkGrid } from './tiff-chunk-grid.ts';
import { type Bytes, OTHER_COMPRESSIONS, TIFF_CODECS, type TiffCodec } from './tiff-codecs.ts';
import { readNumbers, readValue, type TiffDirectory, type TiffHeader } from './tiff-directory.ts';
import type { TiffFile } from './tiff-file.ts';
import { jpegCodec } from './tiff-jpeg.ts';
import { TAG, type TagName } from './tiff-tags.ts';

export interface TiffPage {
  /** From 1, as people count pages. */
  readonly number: number;
  readonly littleEndian: boolean;
  readonly width: number;
  readonly height: number;
  readonly type: VoxelType;
  readonly codec: TiffCodec;
  readonly predictor: 1 | 2 | 3;
  /** FillOrder 2: the bits of every stored byte are reversed. */
  readonly bitsReversed: boolean;
  /** PhotometricInterpretation: 0 small numbers are bright, 1 large numbers are bright, 3 index of a colour table. */
  readonly photometric: number;
  readonly chunks: ChunkGrid;
}

export interface PageRules {
  readonly maxSlicePixels: number;
  /** Whether a colour table may be ignored: where it only colours grey values on screen. */
  readonly ignoreColourTable: boolean;
}

const CONVERT = 'Save it as single-channel grey values (unsigned, signed or floating point).';

/** @throws InputFault for a page that is damaged or of a kind that holds no grey values. */
export async function readPage(
  file: TiffFile,
  header: TiffHeader,
  directory: TiffDirectory,
  number: number,
  rules: PageRules,
): Promise<TiffPage> {
  const value = (tag: TagName, fallback?: number) =>
    readValue(file, header, directory, number, tag, fallback);
  const refuse = (expected: string, found: string, remedy = CONVERT) =>
    file.fault('unsupported', number, directory.at, { expected, found, remedy });

  const width = await value('imageWidth');
  const height = await value('imageLength');
  if (width < 1 || height < 1) {
    throw file.fault('malformed', number, directory.at, {
      expected: 'a page of at least 1 x 1 pixels',
      found: `${width} x ${height}`,
      remedy: 'The file is damaged: copy it again from where it was made.',
    });
  }
  if (width * height > rules.maxSlicePixels) {
    throw file.fault('limit', number, directory.at, {
      expected: `at most ${rules.maxSlicePixels} pixels per slice`,
      found: `${width} x ${height}`,
      remedy: 'If the size is right, crop or bin the slices; if not, the file is damaged.',
    });
  }
  const samples = await value('samplesPerPixel', 1);
  const photometric = await value('photometric', 1);
  if (samples !== 1 || (photometric !== 0 && photometric !== 1 && photometric !== 3)) {
    const kind = PHOTOMETRIC[photometric] ?? `colour model ${photometric}`;
    throw refuse('one sample per pixel (grey values)', `${samples} (${kind})`);
  }
  if (photometric === 3 && !rules.ignoreColourTable) {
    throw refuse('grey values', 'numbers that point into a colour table');
  }
  const orientation = await value('orientation', 1);
  if (orientation > 1) {
    throw refuse(
      'rows from the top and columns from the left (orientation 1)',
      `orientation ${orientation}`,
      'Save it with its rows turned the usual way.',
    );
  }
  const type = voxelType(await value('sampleFormat', 1), await value('bitsPerSample', 1));
  if (typeof type !== 'string') throw refuse(EVERY_TYPE, type.found);

  const code = await value('compression', 1);
  const isJpeg = code === JPEG;
  if (isJpeg && type !== 'uint8') {
    throw refuse('8 bits unsigned with JPEG compression', type, 'Save it with LZW or deflate compression.');
  }
  const codec = isJpeg ? jpegCodec(await readTables(file, header, directory, number)) : TIFF_CODECS[code];
  if (!codec) {
    const found = OTHER_COMPRESSIONS[code] ?? `compression ${code}`;
    throw refuse(
      'compression none, LZW, deflate, Zstandard, PackBits or JPEG',
      found,
      'Save it with one of these compressions.',
    );
  }
  const predictor = await value('predictor', 1);
  const isFloat = type.startsWith('float');
  if (!isPredictor(predictor) || (predictor > 1 && !codec.predicts) || (predictor === 3 && !isFloat)) {
    throw refuse(
      'predictor 1, 2 or 3 (3 for floating point) with LZW, deflate or Zstandard',
      `predictor ${predictor} with ${codec.name} and ${type}`,
      'Save it without a predictor.',
    );
  }
  const fillOrder = await value('fillOrder', 1);
  if (fillOrder !== 1 && fillOrder !== 2) throw refuse('fill order 1 or 2', `${fillOrder}`, 'Save it again.');

  const stated = { width, height, size: bytesPerVoxel(type), codec };
  const chunks = await readChunkGrid(file, header, directory, number, stated);
  const { littleEndian } = header;
  const bitsReversed = fillOrder === 2;
  return { number, littleEndian, width, height, type, codec, predictor, bitsReversed, photometric, chunks };
}

/**
 * Byte position of row 0 where all rows lie one behind the other as plain numbers, else null.
 */
export function plainDataAt(page: TiffPage): number | null {
  const { chunks, codec, bitsReversed, width } = page;
  if (codec.name !== 'none' || bitsReversed || chunks.width !== width || chunks.across !== 1) return null;
  const step = chunks.width * chunks.height * bytesPerVoxel(page.type);
  const at = chunks.offsets[0];
  for (let index = 1; index < chunks.down; index++) {
    if (chunks.offsets[index] !== at + index * step) return null;
  }
  return at;
}

const JPEG = 7;
const MOST_TABLE_BYTES = 65536;

async function readTables(
  file: TiffFile,
  header: TiffHeader,
  directory: TiffDirectory,
  page: number,
): Promise<Bytes | null> {
  const entry = directory.entries.get(TAG.jpegTables);
  if (!entry || entry.count > MOST_TABLE_BYTES) return null;
  return Uint8Array.from(await readNumbers(file, header, entry, 'JPEG tables', page));
}

const isPredictor = (value: number): value is 1 | 2 | 3 => value === 1 || value === 2 || value === 3;

const EVERY_TYPE = 'unsigned or signed numbers of 8, 16 or 32 bits, or floating point of 32 or 64';

const TYPES: Readonly<Record<string, VoxelType>> = {
  '1/8': 'uint8',
  '1/16': 'uint16',
  '1/32': 'uint32',
  '2/8': 'int8',
  '2/16': 'int16',
  '2/32': 'int32',
  '3/32': 'float32',
  '3/64': 'float64',
};

/** SampleFormat 4 means undefined, which the specification lets a reader take for unsigned. */
function voxelType(format: number, bits: number): VoxelType | { readonly found: string } {
  const names: Readonly<Record<number, string>> = {
    1: 'unsigned',
    2: 'signed',
    3: 'floating-point',
    5: 'complex',
    6: 'complex',
  };
  const known = TYPES[`${format === 4 ? 1 : format}/${bits}`];
  return known ?? { found: `${names[format] ?? `format ${format}`} numbers of ${bits} bits` };
}

const PHOTOMETRIC: Readonly<Record<number, string>> = {
  0: 'grey',
  1: 'grey',
  2: 'RGB',
  3: 'colour table',
  4: 'a transparency mask',
  5: 'CMYK',
  6: 'YCbCr',
  8: 'CIE L*a*b*',
  32803: 'a colour filter array',
};
