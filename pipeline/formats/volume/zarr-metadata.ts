/**
 * Metadata of a Zarr array, of version 2 or 3, checked and brought into one form before zarrita is given it.
 * @source Zarr core specification 3.0; Zarr storage specification 2.
 */
import type { ArrayMetadata, CodecMetadata, DataType } from 'zarrita';
import { type StoredType, storedType } from './converted.ts';
import { codecsV3 } from './zarr-codec-lists.ts';
import { COMPRESSORS } from './zarr-codecs.ts';
import type { ZarrFolder } from './zarr-folder.ts';
import { type Fault, type Json, show } from './zarr-json.ts';

export interface ZarrArray {
  readonly format: 2 | 3;
  readonly shape: readonly number[];
  /** Sides of what is stored in a file of its own. */
  readonly fileShape: readonly number[];
  /** Sides of what is packed by itself: those of a file, or of a chunk within a shard. */
  readonly chunkShape: readonly number[];
  readonly stored: StoredType;
  readonly dimensionNames: readonly (string | null)[] | null;
  /** Names of the codecs, for the record. */
  readonly codecs: readonly string[];
  readonly metadata: ArrayMetadata<DataType>;
  /** Whether shards begin with their index instead of ending with it. */
  readonly indexAtStart: boolean;
  readonly littleEndian: boolean;
}

const MOST_AXES = 16;
const MOST_CHUNK_BYTES = 256 * 2 ** 20;
const MOST_CHUNKS_PER_SHARD = 2 ** 21;

/** @throws InputFault for metadata that are damaged or ask for what is not read; null where there is no array. */
export async function readZarrArray(folder: ZarrFolder): Promise<ZarrArray | null> {
  const v3 = await folder.json('zarr.json');
  if (v3) return v3.node_type === 'array' ? fromV3(folder, v3) : null;
  const v2 = await folder.json('.zarray');
  if (!v2) return null;
  return fromV2(folder, v2, (await folder.json('.zattrs')) ?? {});
}

function fromV3(folder: ZarrFolder, json: Json): ZarrArray {
  const { malformed, unsupported } = faultsOf(folder, 'zarr.json');
  if (json.zarr_format !== 3) throw unsupported('zarr_format 3', `${json.zarr_format}`);
  const shape = sizes(json.shape, malformed, 'shape', 0);
  if (typeof json.data_type !== 'string') throw unsupported('a data type of numbers', show(json.data_type));
  const stored = storedType(json.data_type);
  if (!stored) throw unsupported('integers of 8 to 64 bits or floating point of 16 to 64', json.data_type);
  const grid = json.chunk_grid as Json | undefined;
  if (grid?.name !== 'regular') throw unsupported('the chunk grid "regular"', show(grid?.name));
  const fileShape = sizes((grid.configuration as Json | undefined)?.chunk_shape, malformed, 'chunk_shape', 1);
  if (Array.isArray(json.storage_transformers) && json.storage_transformers.length > 0) {
    throw unsupported('no storage transformers', show(json.storage_transformers));
  }
  const codecs = codecsV3(json.codecs, shape.length, unsupported, malformed);
  const chunkShape = codecs.isSharded
    ? sizes(codecs.inner, malformed, 'chunk_shape of a shard', 1)
    : fileShape;
  const names = Array.isArray(json.dimension_names) ? json.dimension_names : null;
  return finish(
    {
      format: 3,
      shape,
      fileShape,
      chunkShape,
      stored,
      dimensionNames: names?.map((name) => (typeof name === 'string' ? name : null)) ?? null,
      codecs: codecs.names,
      indexAtStart: codecs.indexAtStart,
      littleEndian: codecs.littleEndian,
    },
    json.data_type,
    keyEncoding(json.chunk_key_encoding, unsupported),
    codecs.list,
    json.fill_value,
    malformed,
  );
}

function keyEncoding(value: unknown, unsupported: Fault): ArrayMetadata['chunk_key_encoding'] {
  const { name, configuration } = (value ?? { name: 'default' }) as Json;
  const stated = (configuration as Json | undefined)?.separator;
  const separator = stated ?? (name === 'v2' ? '.' : '/');
  const isKnown = (name === 'default' || name === 'v2') && (separator === '/' || separator === '.');
  if (!isKnown) throw unsupported('chunk keys "default" or "v2" with / or .', show(value));
  return { name: name as 'default' | 'v2', configuration: { separator: separator as '/' | '.' } };
}

const TYPES_V2: Readonly<Record<string, string>> = {
  i1: 'int8',
  u1: 'uint8',
  i2: 'int16',
  u2: 'uint16',
  i4: 'int32',
  u4: 'uint32',
  i8: 'int64',
  u8: 'uint64',
  f2: 'float16',
  f4: 'float32',
  f8: 'float64',
};

function fromV2(folder: ZarrFolder, json: Json, attributes: Json): ZarrArray {
  const { malformed, unsupported } = faultsOf(folder, '.zarray');
  if (json.zarr_format !== 2) throw unsupported('zarr_format 2', `${json.zarr_format}`);
  const shape = sizes(json.shape, malformed, 'shape', 0);
  const chunkShape = sizes(json.chunks, malformed, 'chunks', 1);
  const dtype = typeof json.dtype === 'string' ? json.dtype : '';
  const name = /^[<>|]/.test(dtype) ? TYPES_V2[dtype.slice(1)] : undefined;
  const stored = name === undefined ? null : storedType(name);
  if (name === undefined || !stored) {
    throw unsupported('integers of 8 to 64 bits or floating point of 16 to 64', `dtype ${show(json.dtype)}`);
  }
  const list: CodecMetadata[] = [];
  const named: string[] = [];
  const order = json.order ?? 'C';
  if (order !== 'C' && order !== 'F') throw malformed('order "C" or "F"', show(order));
  if (order === 'F') list.push({ name: 'transpose', configuration: { order: 'F' } });
  const bytes: CodecMetadata[] = [];
  for (const filter of Array.isArray(json.filters) ? (json.filters as Json[]) : []) {
    const { id, ...configuration } = filter ?? {};
    const isPlain = id === 'shuffle' && (configuration.elementsize ?? 4) === stored.size;
    if (!isPlain) throw unsupported('no filter, or shuffle of the size of a value', `filter ${show(filter)}`);
    bytes.push({ name: 'numcodecs.shuffle', configuration });
    named.push('shuffle');
  }
  const littleEndian = !dtype.startsWith('>');
  list.push({ name: 'bytes', configuration: { endian: littleEndian ? 'little' : 'big' } }, ...bytes);
  if (json.compressor !== null && json.compressor !== undefined) {
    const { id, ...configuration } = json.compressor as Json;
    if (typeof id !== 'string' || !COMPRESSORS.has(id)) {
      throw unsupported(`one of the codecs ${[...COMPRESSORS].join(', ')}`, `the codec ${show(id)}`);
    }
    list.push({ name: `numcodecs.${id}`, configuration });
    named.push(id === 'blosc' ? `blosc (${String(configuration.cname)})` : id);
  }
  const separator = json.dimension_separator ?? '.';
  const encoding = keyEncoding({ name: 'v2', configuration: { separator } }, unsupported);
  const names = attributes._ARRAY_DIMENSIONS;
  const dimensionNames = Array.isArray(names) ? names.map(String) : null;
  const facts = { stored, dimensionNames, codecs: named, indexAtStart: false, littleEndian };
  const array = { format: 2, shape, fileShape: chunkShape, chunkShape, ...facts } as const;
  return finish(array, name, encoding, list, json.fill_value, malformed);
}

function finish(
  array: Omit<ZarrArray, 'metadata'>,
  dataType: string,
  encoding: ArrayMetadata['chunk_key_encoding'],
  codecs: CodecMetadata[],
  fill: unknown,
  malformed: Fault,
): ZarrArray {
  const { shape, fileShape, chunkShape, stored } = array;
  if (fileShape.length !== shape.length || chunkShape.length !== shape.length) {
    throw malformed(
      `chunks of ${shape.length} axes`,
      show(fileShape.length !== shape.length ? fileShape : chunkShape),
    );
  }
  const bytes = chunkShape.reduce((product, side) => product * side, stored.size);
  if (bytes > MOST_CHUNK_BYTES) {
    throw malformed(
      `chunks of at most ${MOST_CHUNK_BYTES} bytes`,
      `${chunkShape.join(' x ')} values`,
      'limit',
    );
  }
  const perShard = fileShape.map((side, axis) => side / chunkShape[axis]);
  if (!perShard.every(Number.isInteger)) {
    throw malformed(`shards that ${chunkShape.join(' x ')} divides`, fileShape.join(' x '));
  }
  if (perShard.reduce((product, n) => product * n, 1) > MOST_CHUNKS_PER_SHARD) {
    throw malformed(`at most ${MOST_CHUNKS_PER_SHARD} chunks in a shard`, perShard.join(' x '), 'limit');
  }
  return {
    ...array,
    metadata: {
      zarr_format: 3,
      node_type: 'array',
      shape: [...shape],
      data_type: dataType as DataType,
      chunk_grid: { name: 'regular', configuration: { chunk_shape: [...fileShape] } },
      chunk_key_encoding: encoding,
      codecs,
      fill_value: fillValue(fill, dataType, malformed) as never,
      attributes: {},
    },
  };
}

/** @source Zarr 3.0, fill value: a number, "NaN", "Infinity", "-Infinity", or the bits as "0x..." for floats. */
function fillValue(value: unknown, dataType: string, malformed: Fault): number | bigint {
  if (value === null || value === undefined) return dataType.endsWith('int64') ? 0n : 0;
  const isFloat = dataType.startsWith('float');
  const words: Readonly<Record<string, number>> = {
    NaN: Number.NaN,
    Infinity: Number.POSITIVE_INFINITY,
    '-Infinity': Number.NEGATIVE_INFINITY,
  };
  if (isFloat && typeof value === 'string' && Object.hasOwn(words, value)) return words[value];
  if (isFloat && typeof value === 'string' && /^0x[0-9a-f]{4,16}$/i.test(value)) {
    const bytes = Buffer.from(value.slice(2), 'hex').reverse();
    const stored = storedType(dataType);
    if (stored?.size === bytes.length) return stored.voxels(bytes)[0];
  }
  const isNumber = typeof value === 'number' && (isFloat || Number.isInteger(value));
  if (!isNumber) throw malformed(`a fill value for ${dataType}`, show(value));
  return dataType.endsWith('int64') ? BigInt(value) : value;
}

function faultsOf(folder: ZarrFolder, path: string): { malformed: Fault; unsupported: Fault } {
  return {
    malformed: (expected, found, tag = 'malformed') =>
      folder.fault(path, {
        tag,
        expected,
        found,
        remedy: 'Correct or write anew the metadata of the array, or copy it again from where it was made.',
      }),
    unsupported: (expected, found) =>
      folder.fault(path, {
        tag: 'unsupported',
        expected,
        found,
        remedy:
          'Save the array again: numbers, a regular grid of chunks, blosc, gzip, zstd or no compression.',
      }),
  };
}

function sizes(value: unknown, malformed: Fault, what: string, least: number): number[] {
  const isList = Array.isArray(value) && value.length > 0 && value.length <= MOST_AXES;
  const list = isList ? (value as unknown[]) : [];
  const isSize = (n: unknown): n is number => Number.isSafeInteger(n) && (n as number) >= least;
  if (!isList || !list.every(isSize)) throw malformed(`whole numbers as ${what}`, show(value));
  return list as number[];
}
