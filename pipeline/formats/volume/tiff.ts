/**
 * Volumes as stacks of TIFF pages: one file per slice, or one or several files of many pages.
 *
 * Directories are parsed and data decoded here, not by the geotiff library (3.0.5), which was tried and measured
 * (tests/bench/volume-tiff.bench.ts): it reads plain data 10 to 20 times slower, gives wrong values for big-endian
 * differences of 16 bits and for fill order 2, and never ends on a circular chain of pages.
 */

import { InputFault } from '../../../shared/errors.ts';
import type { VolumeSource, VoxelArray, VoxelBox } from '../volume.ts';
import { resolveBox } from './box.ts';
import { FileHandles } from './file-handles.ts';
import { inParallel } from './in-parallel.ts';
import { parseOmeDescription } from './ome-description.ts';
import { orderByOme } from './ome-order.ts';
import { readPlainPlane } from './plain-planes.ts';
import { bytesPerVoxel, HOST_IS_LITTLE_ENDIAN, newVoxels } from './sample-types.ts';
import { readDirectory } from './tiff-directory.ts';
import { TiffFile } from './tiff-file.ts';
import { readTiffMetadata } from './tiff-metadata.ts';
import { readPage } from './tiff-page.ts';
import { readChunkedPlane } from './tiff-planes.ts';
import { type ScannedFile, type ScannedSlice, scanTiffFile } from './tiff-scan.ts';

export interface TiffStackOptions {
  /** How a file is called in messages, such as its path relative to the campaign; default the path itself. */
  readonly nameOf?: (file: string) => string;
  /** Larger slices are refused; default 2^30, 32768 pixels squared. */
  readonly maxSlicePixels?: number;
  readonly signal?: AbortSignal;
}

/** Files looked at, and slices read, at a time. */
const LANES = 4;

/**
 * Opens a stack: reads every header, no voxel. Every file is checked to have the first one's size and number type,
 * and to hold all the bytes that its directories speak of.
 *
 * One sample per pixel; 8, 16 and 32 bits unsigned or signed, floating point of 32 and 64; classic and BigTIFF; either
 * byte order and either fill order; strips and tiles; no compression, LZW, deflate, Zstandard, PackBits and JPEG of 8 bits; predictors
 * 1, 2 and 3.
 * Values are given as stored, also where small ones are meant to be bright. A window of a compressed page decodes every
 * strip or tile that it touches, whole.
 *
 * @param files absolute paths in slice order
 * @throws InputFault when a file is missing, damaged, unlike the others or of a kind that is not read
 */
export async function openTiffStack(
  files: readonly string[],
  options: TiffStackOptions = {},
): Promise<VolumeSource> {
  if (files.length === 0) {
    throw new InputFault({
      tag: 'missing-file',
      file: 'TIFF stack',
      expected: 'at least one file',
      found: 'none',
      remedy: 'Name the files of the volume.',
    });
  }
  const handles = new FileHandles(options.nameOf ? { nameOf: options.nameOf } : {});
  try {
    const scanned = await scanAll(handles, files, options);
    const notes = [...new Set(scanned.flatMap((file) => file.notes))];
    const nz = scanned.reduce((sum, file) => sum + file.slices.length, 0);
    const slices = inOrder(handles, scanned, notes);
    const metadata = await readTiffMetadata(handles, scanned[0], nz, notes);
    return new TiffStack(handles, scanned, slices, metadata, options.maxSlicePixels ?? MAX_SLICE_PIXELS);
  } catch (error) {
    await handles.close();
    throw error;
  }
}

const MAX_SLICE_PIXELS = 2 ** 30;

async function scanAll(
  handles: FileHandles,
  files: readonly string[],
  options: TiffStackOptions,
): Promise<ScannedFile[]> {
  const scan = async (index: number, first: ScannedFile | null): Promise<ScannedFile> => {
    options.signal?.throwIfAborted();
    const rules = {
      maxSlicePixels: options.maxSlicePixels ?? MAX_SLICE_PIXELS,
      // The first file speaks for all; of the others only the few numbers at the start are of use.
      descriptionBytes: first ? 4096 : 4 * 2 ** 20,
      alone: files.length === 1,
    };
    const file = await TiffFile.open(handles, files[index]);
    return scanTiffFile(file, handles.nameOf(files[index]), rules, first?.kind ?? null);
  };
  const first = await scan(0, null);
  const scanned = [first];
  await inParallel(files.length - 1, LANES, async (index) => {
    scanned[index + 1] = await scan(index + 1, first);
  });
  return scanned;
}

interface SliceOfFile {
  readonly file: ScannedFile;
  readonly slice: ScannedSlice;
}

/** Slices in the order of their files, unless OME-XML states another. */
function inOrder(handles: FileHandles, scanned: readonly ScannedFile[], notes: string[]): SliceOfFile[] {
  const slices = scanned.flatMap((file) => file.slices.map((slice) => ({ file, slice })));
  const [{ path, length, description }] = scanned;
  const ome = parseOmeDescription(description);
  if (!ome) return slices;
  const pages = slices.map(({ file, slice }) => ({ path: file.path, page: slice.page - 1 }));
  const order = orderByOme(ome, pages, notes, (expected, found) =>
    TiffFile.known(handles, path, length).fault('inconsistent', 1, null, {
      expected,
      found,
      remedy: 'Name all files of this volume and no others, with the names they were written with.',
    }),
  );
  return order?.map((n) => slices[n]) ?? slices;
}

class TiffStack implements VolumeSource {
  readonly format = 'tiff';
  readonly shape: VolumeSource['shape'];
  readonly type: VolumeSource['type'];
  readonly bytes: number;
  readonly files: readonly string[];
  readonly metadata: VolumeSource['metadata'];
  readonly #handles: FileHandles;
  readonly #slices: readonly SliceOfFile[];
  readonly #maxSlicePixels: number;

  constructor(
    handles: FileHandles,
    scanned: readonly ScannedFile[],
    slices: readonly SliceOfFile[],
    metadata: VolumeSource['metadata'],
    maxSlicePixels: number,
  ) {
    const { width, height, type } = scanned[0].kind;
    this.#handles = handles;
    this.#slices = slices;
    this.#maxSlicePixels = maxSlicePixels;
    this.shape = { nz: this.#slices.length, ny: height, nx: width };
    this.type = type;
    this.bytes = scanned.reduce((sum, file) => sum + file.length, 0);
    this.files = [...new Set(slices.map(({ file }) => file.path))];
    this.metadata = metadata;
  }

  async read(box: VoxelBox, signal?: AbortSignal): Promise<VoxelArray> {
    const { k0, k1, j0, j1, i0, i1 } = resolveBox(box, this.shape);
    const area = (j1 - j0) * (i1 - i0);
    const out = newVoxels(this.type, (k1 - k0) * area);
    await inParallel(k1 - k0, LANES, async (index) => {
      signal?.throwIfAborted();
      await this.#readSlice(k0 + index, [j0, j1], [i0, i1], out, index * area, signal);
    });
    return out;
  }

  async #readSlice(
    k: number,
    rows: readonly [number, number],
    columns: readonly [number, number],
    out: VoxelArray,
    outAt: number,
    signal?: AbortSignal,
  ): Promise<void> {
    const { file, slice } = this.#slices[k];
    if (slice.dataAt !== null) {
      const size = bytesPerVoxel(this.type);
      const swap = file.header.littleEndian !== HOST_IS_LITTLE_ENDIAN;
      const plane = { file: file.path, at: slice.dataAt, nx: this.shape.nx, size, swap };
      const area = (rows[1] - rows[0]) * (columns[1] - columns[0]);
      const target = new Uint8Array(out.buffer, outAt * size, area * size);
      await readPlainPlane(this.#handles, plane, rows, columns, target, signal);
      return;
    }
    // Places of strips and tiles are read again when needed: kept for every slice, they can outweigh the voxels.
    const opened = TiffFile.known(this.#handles, file.path, file.length);
    const directory = await readDirectory(opened, file.header, slice.directoryAt, slice.page);
    const rules = { maxSlicePixels: this.#maxSlicePixels, ignoreColourTable: true };
    const page = await readPage(opened, file.header, directory, slice.page, rules);
    this.#checkUnchanged(opened, page.width, page.height, page.type, slice);
    await readChunkedPlane(this.#handles, opened, page, rows, columns, out, outAt, signal);
  }

  #checkUnchanged(file: TiffFile, width: number, height: number, type: string, slice: ScannedSlice): void {
    const { nx, ny } = this.shape;
    if (width === nx && height === ny && type === this.type) return;
    throw file.fault('inconsistent', slice.page, slice.directoryAt, {
      expected: `${nx} x ${ny} ${this.type} as when it was opened`,
      found: `${width} x ${height} ${type}`,
      remedy: 'The file was changed while it was being read: start again.',
    });
  }

  async close(): Promise<void> {
    await this.#handles.close();
  }
}
