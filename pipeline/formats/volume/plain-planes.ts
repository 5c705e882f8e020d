/** Voxels that lie in a file as one uncompressed plane, read straight into place. */
import type { FileHandles } from './file-handles.ts';
import { swapBytes } from './sample-types.ts';

export interface PlainPlane {
  readonly file: string;
  /** Byte position of row 0, column 0. */
  readonly at: number;
  readonly nx: number;
  /** Bytes per voxel. */
  readonly size: number;
  /** Whether the file's byte order is not the machine's. */
  readonly swap: boolean;
}

/** Bands of whole rows are read when columns are left out: few long reads beat many short ones. */
const BAND_BYTES = 4 * 2 ** 20;

/**
 * Reads rows [j0, j1) and columns [i0, i1) into `target`, (j1 - j0) x (i1 - i0) voxels in C order and native
 * byte order. Only the rows asked for are read.
 * @throws InputFault when the file ends before.
 */
export async function readPlainPlane(
  files: FileHandles,
  plane: PlainPlane,
  rows: readonly [number, number],
  columns: readonly [number, number],
  target: Uint8Array,
  signal?: AbortSignal,
): Promise<void> {
  const rowBytes = plane.nx * plane.size;
  const [j0, j1] = rows;
  const widthBytes = (columns[1] - columns[0]) * plane.size;
  if (widthBytes === 0 || j1 === j0) return;
  if (widthBytes === rowBytes) {
    await files.read(plane.file, plane.at + j0 * rowBytes, target, signal);
  } else {
    const from = columns[0] * plane.size;
    const bandRows = Math.max(1, Math.min(j1 - j0, Math.floor(BAND_BYTES / rowBytes)));
    // The last row of a band is read no further than the last column wanted.
    const band = new Uint8Array((bandRows - 1) * rowBytes + widthBytes);
    for (let j = j0; j < j1; j += bandRows) {
      const count = Math.min(bandRows, j1 - j);
      const part = band.subarray(0, (count - 1) * rowBytes + widthBytes);
      await files.read(plane.file, plane.at + j * rowBytes + from, part, signal);
      for (let row = 0; row < count; row++) {
        const start = row * rowBytes;
        target.set(part.subarray(start, start + widthBytes), (j - j0 + row) * widthBytes);
      }
    }
  }
  if (plane.swap) swapBytes(target, plane.size);
}
