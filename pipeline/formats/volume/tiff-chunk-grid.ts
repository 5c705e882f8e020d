/** Where the strips or tiles of a page lie, every one checked to be inside the file and big enough. */
import type { TiffCodec } from './tiff-codecs.ts';
import { readNumbers, readValue, type TiffDirectory, type TiffHeader } from './tiff-directory.ts';
import type { TiffFile } from './tiff-file.ts';
import { TAG, type TagName } from './tiff-tags.ts';

export interface ChunkGrid {
  /** A strip is a tile as wide as the page; this is how the file calls them. */
  readonly kind: 'strip' | 'tile';
  /** Columns and rows of one chunk; the last strip may hold fewer rows, tiles are always whole. */
  readonly width: number;
  readonly height: number;
  /** Chunks per row and per column of the grid. */
  readonly across: number;
  readonly down: number;
  /** Byte positions and byte counts, row by row of the grid. */
  readonly offsets: Float64Array;
  readonly counts: Float64Array;
}

export interface StatedPage {
  readonly width: number;
  readonly height: number;
  /** Bytes per voxel. */
  readonly size: number;
  readonly codec: TiffCodec;
}

/** Chunks that are decoded, or cut out, have to be in memory whole. */
const MOST_CHUNK_BYTES = 2 ** 31;

/** SHORT, LONG, IFD, LONG8, IFD8: the field types that can say where data lie. */
const WHOLE_TYPES: ReadonlySet<number> = new Set([3, 4, 13, 16, 18]);

/** Rows that a chunk of grid row `down` holds. */
export function rowsInChunk(
  grid: Pick<ChunkGrid, 'kind' | 'height'>,
  pageHeight: number,
  down: number,
): number {
  return grid.kind === 'tile' ? grid.height : Math.min(grid.height, pageHeight - down * grid.height);
}

/** @throws InputFault for a grid that does not fit the page or the file. */
export async function readChunkGrid(
  file: TiffFile,
  header: TiffHeader,
  directory: TiffDirectory,
  page: number,
  stated: StatedPage,
): Promise<ChunkGrid> {
  const value = (tag: TagName, fallback?: number) => readValue(file, header, directory, page, tag, fallback);
  const damaged = (expected: string, found: string, at = directory.at) =>
    file.fault('malformed', page, at, {
      expected,
      found,
      remedy: 'The file is damaged: copy it again from where it was made.',
    });

  const kind = directory.entries.has(TAG.tileWidth) ? 'tile' : 'strip';
  const isTiled = kind === 'tile';
  const width = isTiled ? await value('tileWidth') : stated.width;
  const rows = isTiled ? await value('tileLength') : await value('rowsPerStrip', stated.height);
  // Writers put 2^32 - 1 for "all rows in one strip".
  const height = isTiled ? rows : Math.min(rows, stated.height);
  if (width < 1 || height < 1) throw damaged(`a ${kind} of at least 1 x 1 pixels`, `${width} x ${rows}`);
  // Plain strips are read row by row and may be as large as the page.
  const isWhole = isTiled || stated.codec.name !== 'none';
  if (isWhole && width * height * stated.size > MOST_CHUNK_BYTES) {
    throw file.fault('limit', page, directory.at, {
      expected: `a ${kind} of at most ${MOST_CHUNK_BYTES} bytes`,
      found: `${width} x ${height} pixels of ${stated.size} bytes`,
      remedy: 'Save it with smaller strips or tiles.',
    });
  }
  const across = Math.ceil(stated.width / width);
  const down = Math.ceil(stated.height / height);

  const list = async (tag: number, what: string): Promise<Float64Array> => {
    const entry = directory.entries.get(tag);
    if (entry?.count !== across * down) {
      const size = `a page of ${stated.width} x ${stated.height}`;
      throw damaged(`${across * down} ${what} (tag ${tag}) for ${size}`, `${entry?.count ?? 'none'}`);
    }
    if (!WHOLE_TYPES.has(entry.type)) throw damaged(`whole numbers as ${what}`, `field type ${entry.type}`);
    return readNumbers(file, header, entry, what, page);
  };
  const offsets = await list(isTiled ? TAG.tileOffsets : TAG.stripOffsets, `${kind} offsets`);
  const counts = await list(isTiled ? TAG.tileByteCounts : TAG.stripByteCounts, `${kind} byte counts`);

  for (let index = 0; index < offsets.length; index++) {
    const rowsHere = rowsInChunk({ kind, height }, stated.height, Math.floor(index / across));
    const needed = rowsHere * width * stated.size;
    const name = `${kind} ${index + 1}`;
    if (counts[index] * stated.codec.mostGrowth < needed) {
      throw damaged(
        `${name} to hold ${needed} bytes of voxels`,
        `${counts[index]} bytes (compression ${stated.codec.name})`,
        offsets[index],
      );
    }
    // What follows plain data belongs to nobody, and no codec makes data twice as long: more is not read.
    const most = stated.codec.name === 'none' ? needed : 2 * width * height * stated.size + 65536;
    const read = Math.min(counts[index], most);
    counts[index] = read;
    if (offsets[index] < 8 || offsets[index] + read > file.length) {
      throw file.fault('truncated', page, offsets[index], {
        expected: `${name} of ${read} bytes inside the file`,
        found: `a file of ${file.length} bytes`,
        remedy: 'The file is cut off or damaged: copy it again from where it was made.',
      });
    }
  }
  return { kind, width, height, across, down, offsets, counts };
}
