/** The list of codecs of a Zarr v3 array: known names only, in an order that makes sense. */
import type { CodecMetadata } from 'zarrita';
import { COMPRESSORS } from './zarr-codecs.ts';
import { type Fault, type Json, show } from './zarr-json.ts';

export interface CodecsV3 {
  readonly list: CodecMetadata[];
  readonly names: readonly string[];
  readonly isSharded: boolean;
  /** Sides of the chunks within a shard, as stated. */
  readonly inner: unknown;
  readonly indexAtStart: boolean;
  readonly littleEndian: boolean;
}

/**
 * At most one transpose, then `bytes`, then compressors and checksums; or one sharding_indexed with such lists inside.
 * @throws the fault that `unsupported` or `malformed` makes, naming the codec
 */
export function codecsV3(value: unknown, axes: number, unsupported: Fault, malformed: Fault): CodecsV3 {
  const list = normalised(value, malformed);
  const shard = list.find(({ name }) => name === 'sharding_indexed');
  if (!shard) {
    const littleEndian = checkChain(list, axes, unsupported, malformed);
    return { list, names: namesOf(list), isSharded: false, inner: null, indexAtStart: false, littleEndian };
  }
  if (list.length > 1) {
    throw unsupported('sharding_indexed alone', `the codecs ${list.map(({ name }) => name).join(', ')}`);
  }
  const { chunk_shape, codecs, index_codecs, index_location } = shard.configuration;
  const inner = normalised(codecs, malformed);
  const littleEndian = checkChain(inner, axes, unsupported, malformed);
  const index = normalised(index_codecs, malformed);
  const isIndex = (codec: CodecMetadata, at: number) =>
    at === 0 ? codec.name === 'bytes' && codec.configuration.endian !== 'big' : codec.name === 'crc32c';
  if (!index.every(isIndex)) {
    throw unsupported('an index of little-endian bytes, with or without crc32c', show(index_codecs));
  }
  const location = index_location ?? 'end';
  if (location !== 'start' && location !== 'end')
    throw malformed('index_location start or end', show(location));
  const configuration = { chunk_shape, codecs: inner, index_codecs: index };
  return {
    list: [{ name: 'sharding_indexed', configuration }],
    names: ['sharding_indexed', ...namesOf(inner)],
    isSharded: true,
    inner: chunk_shape,
    indexAtStart: location === 'start',
    littleEndian,
  };
}

/** Codecs as objects with a configuration; extensions without one may be written as plain names. */
function normalised(value: unknown, malformed: Fault): CodecMetadata[] {
  if (!Array.isArray(value) || value.length === 0 || value.length > 16) {
    throw malformed('a list of codecs', show(value));
  }
  return value.map((entry: unknown) => {
    const object = (typeof entry === 'string' ? { name: entry } : (entry ?? {})) as Json;
    const { name, configuration = {} } = object;
    const isWhole = typeof name === 'string' && typeof configuration === 'object' && configuration !== null;
    if (!isWhole) throw malformed('a codec with a name', show(entry));
    return { name, configuration: configuration as Json };
  });
}

/** @returns whether values are little-endian */
function checkChain(
  list: readonly CodecMetadata[],
  axes: number,
  unsupported: Fault,
  malformed: Fault,
): boolean {
  const at = list.findIndex(({ name }) => name === 'bytes');
  const known = ['transpose', 'bytes', ...COMPRESSORS, 'crc32c'];
  const foreign = list.find(({ name }) => !known.includes(name.replace(/^numcodecs\./, '')));
  if (foreign) throw unsupported(`the codecs ${known.join(', ')}`, `the codec ${foreign.name}`);
  const isChain =
    at >= 0 &&
    at <= 1 &&
    list.slice(0, at).every(({ name }) => name === 'transpose') &&
    list.slice(at + 1).every(({ name }) => name !== 'transpose' && name !== 'bytes');
  if (!isChain) {
    throw unsupported(
      'transpose at most once, bytes, then compressors',
      list.map(({ name }) => name).join(', '),
    );
  }
  if (at === 1) {
    const { order } = list[0].configuration;
    const isOrder =
      Array.isArray(order) &&
      order.length === axes &&
      [...order].sort((a, b) => a - b).every((n, i) => n === i);
    if (!isOrder) throw malformed(`an order of ${axes} axes for transpose`, show(order));
  }
  const endian = list[at].configuration.endian ?? 'little';
  if (endian !== 'little' && endian !== 'big') throw malformed('endian little or big', show(endian));
  return endian === 'little';
}

const namesOf = (list: readonly CodecMetadata[]): string[] =>
  list
    .filter(({ name }) => name !== 'bytes')
    .map(({ name, configuration }) =>
      name.endsWith('blosc') ? `blosc (${String(configuration.cname)})` : name.replace(/^numcodecs\./, ''),
    );
