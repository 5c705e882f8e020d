/** Volumes in HDF5 files: Data Exchange, NeXus, or any dataset of three axes; read by the box, never as a whole. */
import type { VolumeMetadata, VolumeSource, VoxelArray, VoxelBox } from '../volume.ts';
import { blocksOf, copyBox, countOf, deepened, isSame, isWithin, layersOf } from './blocks.ts';
import { resolveBox, type Window } from './box.ts';
import { type StoredType, storedType } from './converted.ts';
import { FileHandles } from './file-handles.ts';
import { Hdf5File } from './hdf5-file.ts';
import { readHdf5Metadata } from './hdf5-metadata.ts';
import type { Hdf5Dataset } from './hdf5-protocol.ts';
import { type FoundDataset, findDataset, withoutLeadingOnes } from './hdf5-search.ts';
import { checkPlausible } from './plausible.ts';
import { HOST_IS_LITTLE_ENDIAN, newVoxels, swapBytes } from './sample-types.ts';

export interface Hdf5Options {
  /** Path of the dataset; without it the file is searched. */
  readonly dataset?: string;
  /** How the file is called in messages; default its path. */
  readonly nameOf?: (file: string) => string;
}

/** Filters that the library is built with. @source the HDF5 library's registered filters 1 to 6. */
const FILTERS: ReadonlySet<number> = new Set([1, 2, 3, 4, 5, 6]);
/** Read in one call: the library's memory never shrinks again. */
const BLOCK_BYTES = 64 * 2 ** 20;
/** One layer of chunks is kept up to this size, so that its slices, read one after the other, are unpacked once. */
const KEPT_BYTES = 256 * 2 ** 20;
const MOST_CHUNK_BYTES = 512 * 2 ** 20;

/**
 * Opens a volume: structure is read, voxels are not.
 *
 * Integers of 8 to 64 bits and floating point of 16 to 64, either byte order; contiguous, compact and chunked layouts;
 * the filters deflate, shuffle, fletcher32, szip, n-bit and scale-offset. Leading axes of length 1 are dropped.
 *
 * @param path absolute path of the file
 * @throws InputFault when the file is missing or damaged, holds no such dataset or several, or needs another file or
 *   another filter
 */
export async function openHdf5Volume(path: string, options: Hdf5Options = {}): Promise<VolumeSource> {
  const handles = new FileHandles(options.nameOf ? { nameOf: options.nameOf } : {});
  const length = await handles.lengthOf(path);
  await handles.read(path, 0, new Uint8Array(Math.min(1, length)));
  await handles.close();
  const file = await Hdf5File.open(path, handles.nameOf(path));
  try {
    const found = await findDataset(file, options.dataset ?? null);
    const stored = checkDataset(file, found, length);
    const notes = [...describeStorage(found), ...(stored.note ? [stored.note] : [])];
    if (found.by === 'Data Exchange' && (await file.call('kind', ['/exchange/theta'])).kind === 'dataset') {
      notes.push('exchange/theta is there: these may be projections, not a reconstruction');
    }
    const metadata = await readHdf5Metadata(file, found, notes);
    const volume = new Hdf5Volume(file, found, stored, length, metadata);
    // That its values lie in another file shows only when some are wanted.
    if (!found.dataset.chunks) await volume.read({ k: [0, 1], j: [0, 1], i: [0, 1] });
    return volume;
  } catch (error) {
    await file.close();
    throw error;
  }
}

function checkDataset(file: Hdf5File, { path, dataset }: FoundDataset, length: number): StoredType {
  const refuse = (expected: string, found: string, remedy: string) =>
    file.fault('unsupported', { expected, found, remedy }, path);
  const shape = withoutLeadingOnes(dataset.shape ?? []);
  if (shape.length !== 3) {
    const found = dataset.shape === null ? 'none' : `${dataset.shape.length} (${dataset.shape.join(' x ')})`;
    throw refuse('three axes: slices, rows, columns', found, 'Save one volume as a dataset of its own.');
  }
  if (dataset.virtualFiles) {
    const files = [...new Set(dataset.virtualFiles)].slice(0, 3).join(', ');
    throw refuse(
      'a dataset that holds its own values',
      `a virtual dataset that draws on ${files || 'others'}`,
      'Copy it into a dataset of its own, for example with h5repack or h5py.',
    );
  }
  const stored = typeOf(dataset);
  if (!stored) {
    const bits = `${dataset.size * 8} bits`;
    const found = { integer: `integers of ${bits}`, float: `floating point of ${bits}` }[
      dataset.class as string
    ];
    throw refuse(
      'integers or floating-point numbers',
      found ?? `values of the kind ${dataset.class}`,
      CONVERT,
    );
  }
  const foreign = dataset.filters.find(({ id }) => !FILTERS.has(id));
  if (foreign) {
    throw refuse(
      'the filters deflate, shuffle, fletcher32, szip, n-bit or scale-offset',
      `the filter ${foreign.name.split('\0')[0] || 'without a name'} (number ${foreign.id})`,
      'Save it again with gzip or without compression, for example with h5repack.',
    );
  }
  if (chunkBytesOf(dataset, stored.size) > MOST_CHUNK_BYTES) {
    throw file.fault(
      'limit',
      {
        expected: `chunks of at most ${MOST_CHUNK_BYTES} bytes`,
        found: `chunks of ${dataset.chunks?.join(' x ')} values of ${stored.size} bytes`,
        remedy: 'Save it again with smaller chunks, for example with h5repack.',
      },
      path,
    );
  }
  const [nz, ny, nx] = shape;
  checkPlausible({ file: file.name, place: `"${path}"` }, { nz, ny, nx }, stored.size, length);
  return stored;
}

const chunkBytesOf = ({ chunks }: Hdf5Dataset, size: number): number =>
  chunks ? chunks.reduce((product, side) => product * side, size) : 0;

const CONVERT = 'Save it as integers of 8 to 64 bits or as floating point.';

function typeOf({ class: kind, size, signed }: Hdf5Dataset): StoredType | null {
  if (kind === 'integer') return storedType(`${signed ? 'int' : 'uint'}${size * 8}`);
  return kind === 'float' ? storedType(`float${size * 8}`) : null;
}

function describeStorage({ path, dataset, by }: FoundDataset): string[] {
  const { filters, chunks, littleEndian, size, shape } = dataset;
  const names = filters.map(({ name }) => name.split('\0')[0]).join(', ');
  const notes = [
    by === 'name' ? `dataset ${path}` : `dataset ${path}, found as ${by}`,
    chunks ? `chunks of ${chunks.join(' x ')}${names ? `, ${names}` : ''}` : 'not chunked',
  ];
  if (size > 1) notes.push(`${littleEndian ? 'little' : 'big'}-endian`);
  if (shape && shape.length > 3) notes.push(`leading axes of length 1 dropped from ${shape.join(' x ')}`);
  return notes;
}

class Hdf5Volume implements VolumeSource {
  readonly format = 'hdf5';
  readonly shape: VolumeSource['shape'];
  readonly type: VolumeSource['type'];
  readonly bytes: number;
  readonly files: readonly string[];
  readonly metadata: VolumeMetadata;
  readonly #file: Hdf5File;
  readonly #path: string;
  readonly #stored: StoredType;
  readonly #leading: number;
  readonly #chunks: readonly number[] | null;
  readonly #chunkBytes: number;
  readonly #isPacked: boolean;
  #kept: { readonly box: Window; readonly voxels: VoxelArray } | null = null;

  constructor(
    file: Hdf5File,
    { path, dataset }: FoundDataset,
    stored: StoredType,
    bytes: number,
    metadata: VolumeMetadata,
  ) {
    const sizes = dataset.shape ?? [];
    const [nz, ny, nx] = withoutLeadingOnes(sizes);
    this.#file = file;
    this.#path = path;
    this.#stored = stored;
    this.#leading = sizes.length - 3;
    this.#chunks = dataset.chunks?.slice(-3) ?? null;
    this.#isPacked = dataset.filters.length > 0;
    this.shape = { nz, ny, nx };
    this.type = stored.type;
    this.bytes = bytes;
    this.files = [file.path];
    this.metadata = metadata;
    // A chunk is in memory packed, unpacked, and once more between two filters.
    this.#chunkBytes = chunkBytesOf(dataset, stored.size);
    file.allowMemory(4 * this.#chunkBytes + 4 * BLOCK_BYTES);
  }

  async read(box: VoxelBox, signal?: AbortSignal): Promise<VoxelArray> {
    const wanted = resolveBox(box, this.shape);
    signal?.throwIfAborted();
    if (countOf(wanted) === 0) return newVoxels(this.type, 0);
    const grid = this.#chunks ?? [1, 1, 1];
    // Only what is packed has to be read by whole chunks; of others the library reads the rows it needs.
    if (!this.#isPacked) return this.#readBlocks(wanted, signal);
    // What comes next is, as a rule, the next slice of the same window: the rest of each chunk's depth is kept for it.
    const layers = layersOf(wanted, grid[0]).map((layer) => ({
      layer,
      deep: deepened(layer, grid[0], this.shape),
    }));
    const size = this.#stored.size;
    const isDirect = ({ layer, deep }: { layer: Window; deep: Window }): boolean =>
      isSame(layer, deep) || countOf(deep) * size > KEPT_BYTES;
    const keptFor = (layer: Window) => (this.#kept && isWithin(layer, this.#kept.box) ? this.#kept : null);
    if (layers.every((one) => isDirect(one) && !keptFor(one.layer))) return this.#readBlocks(wanted, signal);
    const out = newVoxels(this.type, countOf(wanted));
    for (const one of layers) {
      const { layer, deep } = one;
      let from = keptFor(layer);
      if (!from && isDirect(one)) from = { box: layer, voxels: await this.#readBlocks(layer, signal) };
      if (!from) {
        // Let go first: two of them need not be in memory at a time.
        this.#kept = null;
        from = { box: deep, voxels: await this.#readBlocks(deep, signal) };
        this.#kept = from;
      }
      copyBox(from.voxels, from.box, layer, out, wanted);
    }
    return out;
  }

  /** Block by block, so that the library's memory stays small. */
  async #readBlocks(wanted: Window, signal?: AbortSignal): Promise<VoxelArray> {
    const blocks = blocksOf(wanted, this.#chunks ?? [1, 1, 1], BLOCK_BYTES / this.#stored.size);
    if (blocks.length === 1) return this.#readBlock(wanted);
    const out = newVoxels(this.type, countOf(wanted));
    for (const block of blocks) {
      signal?.throwIfAborted();
      copyBox(await this.#readBlock(block), block, block, out, wanted);
    }
    return out;
  }

  async #readBlock(block: Window): Promise<VoxelArray> {
    const { size, voxels } = this.#stored;
    const { k0, k1, j0, j1, i0, i1 } = block;
    const zeros = new Array<number>(this.#leading).fill(0);
    const from = [...zeros, k0, j0, i0];
    const count = [...zeros.map(() => 1), k1 - k0, j1 - j0, i1 - i0];
    const bytes = countOf(block) * size;
    const data = await this.#file.call('read', [this.#path, from, count, bytes], this.#chunkBytes + bytes);
    const read = new Uint8Array(data);
    if (!HOST_IS_LITTLE_ENDIAN) swapBytes(read, size);
    return voxels(read);
  }

  async close(): Promise<void> {
    this.#kept = null;
    await this.#file.close();
  }
}
