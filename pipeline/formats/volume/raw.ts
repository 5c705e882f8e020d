/** Volumes without a header: shape and number type come from the campaign. */
import { InputFault } from '../../../shared/errors.ts';
import type { VolumeSource, VoxelArray, VoxelBox, VoxelType } from '../volume.ts';
import { resolveBox } from './box.ts';
import { FileHandles } from './file-handles.ts';
import { inParallel } from './in-parallel.ts';
import { readPlainPlane } from './plain-planes.ts';
import { bytesPerVoxel, HOST_IS_LITTLE_ENDIAN, newVoxels } from './sample-types.ts';

/** Number type and byte order of a raw file. */
export type RawType = 'uint8' | 'int8' | `${Exclude<VoxelType, 'uint8' | 'int8'>}${'le' | 'be'}`;

export interface RawLayout {
  /** Slices, rows, columns; the column index runs fastest. */
  readonly shape: readonly [nz: number, ny: number, nx: number];
  readonly dtype: RawType;
  /** Bytes to pass over before the first voxel; default 0. */
  readonly offsetBytes?: number;
}

export interface RawOptions {
  /** How the file is called in messages; default its path. */
  readonly nameOf?: (file: string) => string;
}

/** Slices read at a time. */
const LANES = 4;

/**
 * Opens a raw volume; no voxel is read.
 * @throws InputFault when the file is missing, or its length is not what shape and type make
 */
export async function openRawVolume(
  file: string,
  layout: RawLayout,
  options: RawOptions = {},
): Promise<VolumeSource> {
  const [nz, ny, nx] = layout.shape;
  const offset = layout.offsetBytes ?? 0;
  const { type, littleEndian } = parseRawType(layout.dtype);
  const size = bytesPerVoxel(type);
  const handles = new FileHandles(options);
  const wrong = (expected: string, found: string, remedy: string) =>
    new InputFault({ tag: 'inconsistent', file: handles.nameOf(file), expected, found, remedy });
  if (![nz, ny, nx].every((n) => Number.isSafeInteger(n) && n > 0)) {
    throw wrong(
      'three positive whole numbers as shape',
      `[${layout.shape.join(', ')}]`,
      'Correct the shape.',
    );
  }
  if (!Number.isSafeInteger(offset) || offset < 0) {
    throw wrong('a whole number of bytes to pass over', `${offset}`, 'Correct the offset.');
  }
  const length = await handles.lengthOf(file);
  const expected = offset + nz * ny * nx * size;
  if (length !== expected) {
    const before = offset > 0 ? ` after ${offset} bytes` : '';
    throw wrong(
      `${expected} bytes (${nz} slices x ${ny} rows x ${nx} columns of ${layout.dtype}${before})`,
      `${length} bytes`,
      'Correct shape, dtype or offset, or copy the file again if it is cut off.',
    );
  }
  const order = littleEndian ? 'little-endian' : 'big-endian';
  const swap = size > 1 && littleEndian !== HOST_IS_LITTLE_ENDIAN;
  return {
    format: 'raw',
    shape: { nz, ny, nx },
    type,
    bytes: length,
    files: [file],
    metadata: {
      voxelNm: { x: null, y: null, z: null },
      voxelSource: null,
      greyUnit: null,
      notes: size > 1 ? [order] : [],
    },
    read: async (box: VoxelBox, signal?: AbortSignal): Promise<VoxelArray> => {
      const { k0, k1, j0, j1, i0, i1 } = resolveBox(box, { nz, ny, nx });
      const area = (j1 - j0) * (i1 - i0);
      const out = newVoxels(type, (k1 - k0) * area);
      await inParallel(k1 - k0, LANES, async (index) => {
        signal?.throwIfAborted();
        const plane = { file, at: offset + (k0 + index) * ny * nx * size, nx, size, swap };
        const target = new Uint8Array(out.buffer, index * area * size, area * size);
        await readPlainPlane(handles, plane, [j0, j1], [i0, i1], target, signal);
      });
      return out;
    },
    close: () => handles.close(),
  };
}

export function parseRawType(dtype: RawType): { readonly type: VoxelType; readonly littleEndian: boolean } {
  const littleEndian = !dtype.endsWith('be');
  return { type: dtype.replace(/(le|be)$/, '') as VoxelType, littleEndian };
}
