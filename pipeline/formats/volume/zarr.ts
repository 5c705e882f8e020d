/** Volumes in Zarr folders: OME-Zarr 0.4 and 0.5 and plain arrays, of Zarr version 2 and 3; read chunk by chunk. */
import * as zarr from 'zarrita';
import { isFault } from '../../../shared/errors.ts';
import type { VolumeSource, VoxelArray, VoxelBox } from '../volume.ts';
import { resolveBox, type Window } from './box.ts';
import { ChunkCache } from './chunk-cache.ts';
import { DamagedData } from './damaged-data.ts';
import { inParallel } from './in-parallel.ts';
import { checkPlausible } from './plausible.ts';
import { newVoxels } from './sample-types.ts';
import { mostBytes, registerCodecs } from './zarr-codecs.ts';
import { type ByteRange, ZarrFolder } from './zarr-folder.ts';
import { type FoundArray, findArray, spatialAxes } from './zarr-search.ts';

export interface ZarrOptions {
  /** Path of the image or array below the folder; without it the folder is searched. */
  readonly array?: string;
  /** Whether links inside the folder may lead out of it; default false. */
  readonly allowOutside?: boolean;
  /** How a file is called in messages; default its path. */
  readonly nameOf?: (file: string) => string;
}

/** Chunks unpacked at a time: as many as the thread pool has threads by default. */
const LANES = 4;
const CACHE_BYTES = 256 * 2 ** 20;

/**
 * Opens a volume: metadata are read and the files counted, no chunk is read. The one file that the source names is the
 * folder of the array.
 *
 * Integers of 8 to 64 bits and floating point of 16 to 64; blosc, gzip, zlib, zstd, lz4 and no compression; shards;
 * chunks in any order of axes. Chunks that are not there hold the fill value.
 *
 * @param root absolute path of the folder
 * @throws InputFault when there is no volume or more than one, metadata are damaged, or a codec is not known
 */
export async function openZarrVolume(root: string, options: ZarrOptions = {}): Promise<VolumeSource> {
  registerCodecs();
  const folder = new ZarrFolder(root, options);
  const found = await findArray(folder, options.array ?? null);
  const { array, image } = found;
  const axes = spatialAxes(found);
  if (!axes) {
    const names = image?.axes ?? array.dimensionNames;
    throw found.folder.fault('', {
      tag: 'unsupported',
      expected: 'slices, rows and columns, and no other axis longer than 1',
      found: `${array.shape.join(' x ')}${names ? ` (${names.join(', ')})` : ''}`,
      remedy: 'Save one channel of one time as a volume of its own.',
    });
  }
  const { files, bytes } = await found.folder.measure();
  const [nz, ny, nx] = axes.map((axis) => array.shape[axis]);
  checkPlausible({ file: found.folder.nameOf('') }, { nz, ny, nx }, array.stored.size, bytes);
  return new ZarrVolume(found, axes, bytes, notesOf(found, axes, files));
}

function notesOf({ array, image, path }: FoundArray, axes: readonly number[], files: number): string[] {
  const { fileShape, chunkShape, shape, codecs, stored, format } = array;
  const kind = image ? `OME-Zarr ${image.version}` : 'no OME-Zarr metadata';
  const isSharded = fileShape.some((side, axis) => side !== chunkShape[axis]);
  const wanted = shape.reduce((product, size, axis) => product * Math.ceil(size / fileShape[axis]), 1);
  const fill = array.metadata.fill_value as number | bigint | null;
  return [
    `Zarr version ${format}, ${kind}${path === '' ? '' : `, array ${path}`}`,
    `chunks of ${chunkShape.join(' x ')}${isSharded ? ` in shards of ${fileShape.join(' x ')}` : ''}; ` +
      `compression ${codecs.length > 0 ? codecs.join(', ') : 'none'}`,
    ...(stored.size > 1 ? [`${array.littleEndian ? 'little' : 'big'}-endian`] : []),
    ...(stored.note ? [stored.note] : []),
    ...(axes[0] < axes[1] && axes[1] < axes[2] ? [] : ['axes stored in another order than z, y, x']),
    ...(shape.length > 3 ? [`axes of length 1 dropped from ${shape.join(' x ')}`] : []),
    ...(files < wanted ? [`${wanted - files} of ${wanted} chunk files are not there and hold ${fill}`] : []),
    ...(image?.notes ?? []),
  ];
}

/** What a chunk is, before its number type is looked at. */
interface Chunk {
  readonly voxels: VoxelArray;
  readonly byteLength: number;
  /** Steps in the array along the axes of the file. */
  readonly stride: readonly number[];
}

class ZarrVolume implements VolumeSource {
  readonly format = 'zarr';
  readonly shape: VolumeSource['shape'];
  readonly type: VolumeSource['type'];
  readonly bytes: number;
  readonly files: readonly string[];
  readonly metadata: VolumeSource['metadata'];
  readonly #found: FoundArray;
  readonly #axes: readonly number[];
  readonly #array: zarr.Array<zarr.DataType>;
  readonly #cache = new ChunkCache<Chunk>(CACHE_BYTES);
  #isClosed = false;

  constructor(found: FoundArray, axes: readonly number[], bytes: number, notes: string[]) {
    const { array, folder, image } = found;
    const [nz, ny, nx] = axes.map((axis) => array.shape[axis]);
    this.#found = found;
    this.#axes = axes;
    this.shape = { nz, ny, nx };
    this.type = array.stored.type;
    this.bytes = bytes;
    this.files = [folder.root];
    const voxelNm = image?.voxelNm ?? { x: null, y: null, z: null };
    const isStated = voxelNm.x !== null || voxelNm.y !== null || voxelNm.z !== null;
    this.metadata = { voxelNm, voxelSource: isStated ? 'OME-Zarr metadata' : null, greyUnit: null, notes };
    const chunkBytes = array.chunkShape.reduce((product, side) => product * side, array.stored.size);
    const perShard = array.fileShape.reduce(
      (product, side, axis) => product * (side / array.chunkShape[axis]),
      1,
    );
    const most = Math.max(mostBytes(chunkBytes), 16 * perShard + 4);
    const store = {
      get: async (key: string) => (await folder.read(key, most)) ?? undefined,
      getRange: async (key: string, range: ByteRange) => {
        // zarrita looks for the index at the end of a shard.
        const moved =
          'suffixLength' in range && array.indexAtStart ? { offset: 0, length: range.suffixLength } : range;
        return (await folder.readRange(key, moved, most)) ?? undefined;
      },
    };
    this.#array = new zarr.Array(store, '/', array.metadata);
  }

  async read(box: VoxelBox, signal?: AbortSignal): Promise<VoxelArray> {
    if (this.#isClosed) throw new Error('read from a volume that was closed');
    const wanted = resolveBox(box, this.shape);
    const { k0, k1, j0, j1, i0, i1 } = wanted;
    const out = newVoxels(this.type, (k1 - k0) * (j1 - j0) * (i1 - i0));
    if (out.length === 0) return out;
    const sides = this.#axes.map((axis) => this.#found.array.chunkShape[axis]);
    const chunks: [number, number, number][] = [];
    for (let k = Math.floor(k0 / sides[0]); k * sides[0] < k1; k++) {
      for (let j = Math.floor(j0 / sides[1]); j * sides[1] < j1; j++) {
        for (let i = Math.floor(i0 / sides[2]); i * sides[2] < i1; i++) chunks.push([k, j, i]);
      }
    }
    await inParallel(chunks.length, LANES, async (n) => {
      signal?.throwIfAborted();
      const chunk = await this.#chunk(chunks[n]);
      copyChunk(chunk, this.#axes, chunks[n], sides, wanted, out);
    });
    return out;
  }

  #chunk(place: readonly [number, number, number]): Promise<Chunk> {
    const { array } = this.#found;
    const coordinates = array.shape.map((_, axis) => place[this.#axes.indexOf(axis)] ?? 0);
    return this.#cache.get(coordinates.join(), async () => {
      try {
        const { data, stride } = await this.#array.getChunk(coordinates);
        const { buffer, byteOffset, byteLength } = data as unknown as Uint8Array<ArrayBuffer>;
        const wanted = array.chunkShape.reduce((product, side) => product * side, array.stored.size);
        if (byteLength !== wanted) throw new DamagedData(`${byteLength} of ${wanted} bytes`);
        const voxels = array.stored.voxels(new Uint8Array(buffer, byteOffset, byteLength));
        return { voxels, byteLength: voxels.byteLength, stride };
      } catch (error) {
        throw this.#faultOf(error, coordinates);
      }
    });
  }

  #faultOf(error: unknown, coordinates: readonly number[]): unknown {
    const causes: unknown[] = [];
    for (let cause: unknown = error; cause instanceof Error && causes.length < 5; cause = cause.cause) {
      if (isFault(cause)) return cause;
      causes.push(cause);
    }
    const last = causes.at(-1);
    const isDamage = last instanceof DamagedData || zarr.isZarritaError(error) || last instanceof RangeError;
    if (!isDamage) return error;
    return this.#found.folder.fault(
      '',
      {
        tag: 'malformed',
        place: `chunk ${coordinates.join(', ')}`,
        expected: `${this.#found.array.chunkShape.join(' x ')} values`,
        found: (last as Error).message,
        remedy: 'The chunk is damaged: copy it again from where it was made.',
      },
      error,
    );
  }

  async close(): Promise<void> {
    this.#isClosed = true;
    this.#cache.clear();
  }
}

/** The part of a chunk that a box wants, into its place. Axes that are dropped have index 0. */
function copyChunk(
  { voxels, stride }: Chunk,
  axes: readonly number[],
  place: readonly [number, number, number],
  sides: readonly number[],
  wanted: Window,
  out: VoxelArray,
): void {
  const { k0, k1, j0, j1, i0, i1 } = wanted;
  const [ks, js, is] = axes.map((axis) => stride[axis]);
  const [kAt, jAt, iAt] = place.map((n, axis) => n * sides[axis]);
  const iFirst = Math.max(i0, iAt);
  const width = Math.min(i1, iAt + sides[2]) - iFirst;
  for (let k = Math.max(k0, kAt); k < Math.min(k1, kAt + sides[0]); k++) {
    for (let j = Math.max(j0, jAt); j < Math.min(j1, jAt + sides[1]); j++) {
      const from = (k - kAt) * ks + (j - jAt) * js + (iFirst - iAt) * is;
      const to = ((k - k0) * (j1 - j0) + j - j0) * (i1 - i0) + iFirst - i0;
      if (is === 1) out.set(voxels.subarray(from, from + width), to);
      else for (let i = 0; i < width; i++) out[to + i] = voxels[from + i * is];
    }
  }
}
