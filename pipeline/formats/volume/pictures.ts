/** Volumes as pictures, one file per slice: PNG and JPEG, grey values of 8 or 16 bits. */
import sharp from 'sharp';
import { InputFault, type InputFaultFields } from '../../../shared/errors.ts';
import type { VolumeSource, VoxelArray, VoxelBox } from '../volume.ts';
import { resolveBox } from './box.ts';
import { FileHandles } from './file-handles.ts';
import { inParallel } from './in-parallel.ts';
import { type PictureHeader, readPictureHeader } from './picture-header.ts';
import { newVoxels } from './sample-types.ts';

export interface PictureOptions {
  /** How a file is called in messages; default its path. */
  readonly nameOf?: (file: string) => string;
  readonly signal?: AbortSignal;
}

/** Files looked at, and slices read, at a time. */
const LANES = 4;
const MOST_PIXELS = 2 ** 28;

/**
 * Opens a series: the first bytes of every file are read, and the first picture whole, to see whether it is grey.
 * Colour is read where all channels are equal in every pixel. A window of a slice decodes the whole picture.
 *
 * @param files absolute paths in slice order
 * @throws InputFault when a file is missing, damaged, unlike the others, coloured, or to be turned by its orientation
 */
export async function openPictureSeries(
  files: readonly string[],
  options: PictureOptions = {},
): Promise<VolumeSource> {
  const handles = new FileHandles(options.nameOf ? { nameOf: options.nameOf } : {});
  if (files.length === 0) {
    throw new InputFault({
      tag: 'missing-file',
      file: 'picture series',
      expected: 'at least one file',
      found: 'none',
      remedy: 'Name the files of the volume.',
    });
  }
  try {
    const [path] = files;
    const first = await readPictureHeader(handles, path);
    let bytes = first.bytes;
    await inParallel(files.length - 1, LANES, async (n) => {
      options.signal?.throwIfAborted();
      const header = await readPictureHeader(handles, files[n + 1]);
      bytes += header.bytes;
      checkAlike(header, first, handles.nameOf(files[n + 1]), handles.nameOf(path));
    });
    const series = new PictureSeries(files, first, bytes, handles.nameOf);
    await series.read({ k: [0, 1] });
    return series;
  } finally {
    await handles.close();
  }
}

function checkAlike(header: PictureHeader, first: PictureHeader, file: string, firstFile: string): void {
  const words = ({ width, height, type, channels, kind }: PictureHeader) =>
    `${width} x ${height} ${type} ${kind} of ${channels} ${channels === 1 ? 'channel' : 'channels'}`;
  if (words(header) === words(first)) return;
  throw new InputFault({
    tag: 'inconsistent',
    file,
    expected: `${words(first)} as in ${firstFile}`,
    found: words(header),
    remedy: 'Leave out what is not a slice of this volume, or make all slices the same size and kind.',
  });
}

class PictureSeries implements VolumeSource {
  readonly format: 'png' | 'jpeg';
  readonly shape: VolumeSource['shape'];
  readonly type: 'uint8' | 'uint16';
  readonly bytes: number;
  readonly files: readonly string[];
  readonly metadata: VolumeSource['metadata'];
  readonly #nameOf: (file: string) => string;
  readonly #isGrey: boolean;
  #isClosed = false;

  constructor(
    files: readonly string[],
    first: PictureHeader,
    bytes: number,
    nameOf: (file: string) => string,
  ) {
    this.format = first.kind;
    this.shape = { nz: files.length, ny: first.height, nx: first.width };
    this.type = first.type;
    this.bytes = bytes;
    this.files = files;
    this.#nameOf = nameOf;
    // Conversion to grey drops transparency unseen: with it, all channels are asked for.
    this.#isGrey = first.channels === 1;
    const lossy = first.kind === 'jpeg' ? ['compression JPEG: grey values are not the original ones'] : [];
    const colour =
      first.channels > 1 ? ['stored in colour or with transparency; all channels are equal'] : [];
    // Pictures state a print size at best, and that is a default of the program more often than not.
    this.metadata = {
      voxelNm: { x: null, y: null, z: null },
      voxelSource: null,
      greyUnit: null,
      notes: [...lossy, ...colour],
    };
  }

  async read(box: VoxelBox, signal?: AbortSignal): Promise<VoxelArray> {
    if (this.#isClosed) throw new Error('read from a volume that was closed');
    const { k0, k1, j0, j1, i0, i1 } = resolveBox(box, this.shape);
    const width = i1 - i0;
    const area = (j1 - j0) * width;
    const out = newVoxels(this.type, (k1 - k0) * area);
    if (out.length === 0) return out;
    await inParallel(k1 - k0, LANES, async (n) => {
      signal?.throwIfAborted();
      const slice = await this.#slice(this.files[k0 + n]);
      for (let j = j0; j < j1; j++) {
        const from = j * this.shape.nx + i0;
        out.set(slice.subarray(from, from + width), n * area + (j - j0) * width);
      }
    });
    return out;
  }

  async #slice(file: string): Promise<VoxelArray> {
    const { nx, ny } = this.shape;
    const is16 = this.type === 'uint16';
    const fault = (fields: Omit<InputFaultFields, 'file'>, cause?: unknown) =>
      new InputFault({ file: this.#nameOf(file), ...fields }, { cause });
    // Profiles are not applied: values are as stored. 16 bits would otherwise become 8.
    const picture = sharp(file, { ignoreIcc: true, failOn: 'warning', limitInputPixels: MOST_PIXELS });
    const { data, info } = await picture
      .toColourspace(this.#isGrey ? (is16 ? 'grey16' : 'b-w') : is16 ? 'rgb16' : 'srgb')
      .raw({ depth: is16 ? 'ushort' : 'uchar' })
      .toBuffer({ resolveWithObject: true })
      .catch((cause: unknown) => {
        const found = String((cause as Error).message)
          .replace(/\s+/g, ' ')
          .slice(0, 160);
        const remedy = 'The file is damaged: copy it again from where it was made.';
        throw fault({ tag: 'malformed', expected: 'a picture that decodes', found, remedy }, cause);
      });
    if (info.width !== nx || info.height !== ny) {
      throw fault({
        tag: 'inconsistent',
        expected: `${nx} x ${ny} as when it was opened`,
        found: `${info.width} x ${info.height}`,
        remedy: 'The file was changed while it was being read: start again.',
      });
    }
    const values = is16
      ? new Uint16Array(data.buffer, data.byteOffset, data.byteLength / 2)
      : new Uint8Array(data.buffer, data.byteOffset, data.byteLength);
    const grey = greyOf(values, info.channels);
    if (typeof grey !== 'number') return grey;
    throw fault({
      tag: 'unsupported',
      place: `column ${grey % nx}, row ${Math.floor(grey / nx)}`,
      expected: 'grey values, or colour whose channels are all equal',
      found: info.channels === 4 ? 'colour or transparency' : 'colour',
      remedy: 'Save the slices as grey values.',
    });
  }

  async close(): Promise<void> {
    this.#isClosed = true;
  }
}

/** The one channel of a picture; the index of the first pixel that has colour, or is not opaque, where it has. */
function greyOf(values: Uint8Array | Uint16Array, channels: number): VoxelArray | number {
  if (channels === 1) return values;
  const opaque = values instanceof Uint16Array ? 65535 : 255;
  const grey = newVoxels(values instanceof Uint16Array ? 'uint16' : 'uint8', values.length / channels);
  for (let n = 0, at = 0; n < grey.length; n++, at += channels) {
    const value = values[at];
    const isGrey = values[at + 1] === value && values[at + 2] === value;
    if (!isGrey || (channels === 4 && values[at + 3] !== opaque)) return n;
    grey[n] = value;
  }
  return grey;
}
