/** A window of one page whose voxels are compressed, tiled or scattered: chunk by chunk, only those it touches. */
import type { VoxelArray } from '../volume.ts';
import { DamagedData } from './damaged-data.ts';
import type { FileHandles } from './file-handles.ts';
import { inParallel } from './in-parallel.ts';
import { undoFloatingPoint, undoHorizontal } from './predictor.ts';
import { bytesPerVoxel, HOST_IS_LITTLE_ENDIAN, swapBytes, viewAsVoxels } from './sample-types.ts';
import { rowsInChunk } from './tiff-chunk-grid.ts';
import type { Bytes } from './tiff-codecs.ts';
import type { TiffFile } from './tiff-file.ts';
import type { TiffPage } from './tiff-page.ts';

/** Neighbouring chunks are fetched in one read up to this size. */
const RUN_BYTES = 4 * 2 ** 20;
/** Decoders at work at a time, as many as the thread pool has threads by default. */
const LANES = 4;

/**
 * Reads rows [j0, j1) and columns [i0, i1) of a page into `target`, in C order from `targetAt` on.
 * @throws InputFault when the data do not decode, naming file, page and byte.
 */
export async function readChunkedPlane(
  handles: FileHandles,
  file: TiffFile,
  page: TiffPage,
  rows: readonly [number, number],
  columns: readonly [number, number],
  target: VoxelArray,
  targetAt: number,
  signal?: AbortSignal,
): Promise<void> {
  const { chunks } = page;
  const [j0, j1] = rows;
  const [i0, i1] = columns;
  if (j1 === j0 || i1 === i0) return;
  const outWidth = i1 - i0;
  const runs = runsOf(page, rows, columns);
  await inParallel(runs.length, LANES, async (index) => {
    signal?.throwIfAborted();
    const run = runs[index];
    const bytes = new Uint8Array(run.end - run.start);
    await handles.read(file.path, run.start, bytes, signal);
    for (const chunk of run.chunks) {
      const from = chunks.offsets[chunk] - run.start;
      const down = Math.floor(chunk / chunks.across);
      const height = rowsInChunk(chunks, page.height, down);
      // A decoder may work in place, and chunks of a damaged file may overlap: each gets bytes of its own.
      const raw = bytes.slice(from, from + chunks.counts[chunk]);
      const voxels = await decodeChunk(file, page, chunk, raw, height);
      const top = down * chunks.height;
      const left = (chunk % chunks.across) * chunks.width;
      const first = Math.max(i0, left);
      const last = Math.min(i1, left + chunks.width);
      for (let j = Math.max(j0, top); j < Math.min(j1, top + height); j++) {
        const at = (j - top) * chunks.width + first - left;
        target.set(voxels.subarray(at, at + last - first), targetAt + (j - j0) * outWidth + first - i0);
      }
    }
  });
}

interface Run {
  readonly start: number;
  end: number;
  readonly chunks: number[];
}

/** The chunks that a window touches, those that lie one behind the other in the file joined into one read. */
function runsOf(
  page: TiffPage,
  [j0, j1]: readonly [number, number],
  [i0, i1]: readonly [number, number],
): Run[] {
  const { chunks } = page;
  const runs: Run[] = [];
  for (let down = Math.floor(j0 / chunks.height); down * chunks.height < j1; down++) {
    for (let across = Math.floor(i0 / chunks.width); across * chunks.width < i1; across++) {
      const chunk = down * chunks.across + across;
      const start = chunks.offsets[chunk];
      const end = start + chunks.counts[chunk];
      const run = runs.at(-1);
      if (run && run.end === start && end - run.start <= RUN_BYTES) {
        run.end = end;
        run.chunks.push(chunk);
      } else runs.push({ start, end, chunks: [chunk] });
    }
  }
  return runs;
}

async function decodeChunk(
  file: TiffFile,
  page: TiffPage,
  chunk: number,
  raw: Bytes,
  height: number,
): Promise<VoxelArray> {
  const { chunks, codec, predictor, type } = page;
  const size = bytesPerVoxel(type);
  const needed = height * chunks.width * size;
  try {
    if (page.bitsReversed) reverseBits(raw);
    // The last strip may have been written with all its rows; those past the page are cut off here.
    const decoded = await codec.decode(raw, chunks.height * chunks.width * size, chunks.width);
    if (decoded.length < needed) {
      throw new DamagedData(
        `${codec.name} data that end after ${decoded.length} of ${needed} bytes`,
        raw.length,
      );
    }
    let bytes = decoded.subarray(0, needed);
    if (bytes.byteOffset % size !== 0) bytes = new Uint8Array(bytes);
    if (predictor === 3) bytes = undoFloatingPoint(bytes, chunks.width, size);
    else {
      if (page.littleEndian !== HOST_IS_LITTLE_ENDIAN) swapBytes(bytes, size);
      if (predictor === 2) undoHorizontal(bytes, chunks.width, size);
    }
    return viewAsVoxels(type, bytes);
  } catch (error) {
    if (!(error instanceof DamagedData)) throw error;
    const found = error.message;
    throw file.fault(
      'malformed',
      page.number,
      chunks.offsets[chunk] + error.at,
      {
        expected: `${needed} bytes of voxels in ${chunks.kind} ${chunk + 1}`,
        found,
        remedy: 'The file is damaged: copy it again from where it was made.',
      },
      error,
    );
  }
}

const REVERSED = Uint8Array.from({ length: 256 }, (_, byte) => {
  let reversed = 0;
  for (let bit = 0; bit < 8; bit++) if (byte & (1 << bit)) reversed |= 128 >> bit;
  return reversed;
});

function reverseBits(bytes: Uint8Array): void {
  for (let at = 0; at < bytes.length; at++) bytes[at] = REVERSED[bytes[at]];
}
