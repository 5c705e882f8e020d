/**
 * What lies where in a packed pyramid: one TIFF whose directories all stand at its beginning, levels from fine to
 * coarse, each followed by the mask of its data where pixels are without any. Nothing in a file is believed.
 */
import { COMPRESSION, FIELD, MASK, SMALLER, TAG } from './tags.ts';

export interface PackedTiles {
  readonly offsets: readonly number[];
  readonly bytes: readonly number[];
}

export interface PackedLevel {
  readonly width: number;
  readonly height: number;
  readonly columns: number;
  readonly rows: number;
  readonly tiles: PackedTiles;
  /** null where every pixel has data. */
  readonly mask: PackedTiles | null;
}

export interface PackedDirectory {
  readonly codec: 'jpeg' | 'deflate';
  readonly tilePx: number;
  /** Tables that the JPEG tiles have in common; null with other codecs. */
  readonly tables: Uint8Array | null;
  /** From full resolution on, each half the size of the one before, rounded up; the last is a single tile. */
  readonly levels: readonly PackedLevel[];
}

/** A packed pyramid that is damaged, or that somebody else wrote. */
export class PackedFault extends Error {}

/** As much of a file as its directories may take: enough for some 250,000 tiles. */
const MOST_FRONT = 1 << 22;
const MOST_SIDE = 1 << 24;
const MOST_TILE_BYTES = 1 << 24;
const MOST_DIRECTORIES = 64;
const MOST_FIELDS = 32;

class Short {
  readonly need: number;
  constructor(need: number) {
    this.need = need;
  }
}

/**
 * @param front the beginning of the file, as much as there is so far
 * @returns the directory, or how many bytes from the beginning on have to be there to go on
 * @throws PackedFault where the bytes say something that a packed pyramid does not say
 */
export function readDirectory(front: Uint8Array): PackedDirectory | number {
  try {
    return read(front);
  } catch (error) {
    if (error instanceof Short) return error.need;
    throw error;
  }
}

const must = (holds: boolean, words: string): void => {
  if (!holds) throw new PackedFault(words);
};

interface Field {
  readonly type: number;
  readonly count: number;
  readonly at: number;
}

function read(front: Uint8Array): PackedDirectory {
  const view = new DataView(front.buffer, front.byteOffset, front.byteLength);
  const reach = (end: number): void => {
    must(end <= MOST_FRONT, 'a directory lies too far from the beginning');
    if (end > front.length) throw new Short(end);
  };
  reach(8);
  must(view.getUint32(0, true) === 0x002a4949, 'no little-endian TIFF');

  const levels: PackedLevel[] = [];
  let codec: PackedDirectory['codec'] | null = null;
  let tables: Uint8Array | null = null;
  let tilePx = 0;
  let directories = 0;
  for (let at = view.getUint32(4, true); at !== 0; ) {
    must(++directories <= MOST_DIRECTORIES, 'too many directories');
    reach(at + 2);
    const count = view.getUint16(at, true);
    must(count <= MOST_FIELDS, 'too many fields in a directory');
    const end = at + 2 + 12 * count;
    reach(end + 4);
    const fields = new Map<number, Field>();
    for (let f = at + 2; f < end; f += 12) {
      const [tag, type] = [view.getUint16(f, true), view.getUint16(f + 2, true)];
      fields.set(tag, { type, count: view.getUint32(f + 4, true), at: f + 8 });
    }
    const numbers = (tag: number, count: number): number[] => {
      const field = fields.get(tag);
      must(field?.count === count, `field ${tag} has not the length it should have`);
      const wide = field!.type === FIELD.long ? 4 : 2;
      must(wide === 4 || field!.type === FIELD.short, `field ${tag} is no whole number`);
      const from = count * wide <= 4 ? field!.at : view.getUint32(field!.at, true);
      reach(from + count * wide);
      return Array.from({ length: count }, (_, n) =>
        wide === 4 ? view.getUint32(from + 4 * n, true) : view.getUint16(from + 2 * n, true),
      );
    };
    const one = (tag: number): number => numbers(tag, 1)[0]!;

    const [width, height, tile] = [one(TAG.width), one(TAG.height), one(TAG.tileWidth)];
    must(width > 0 && height > 0 && width <= MOST_SIDE && height <= MOST_SIDE, 'an impossible size');
    must(tile >= 16 && tile <= 4096 && tile % 16 === 0, 'an impossible size of tiles');
    must(one(TAG.tileHeight) === tile && (tilePx === 0 || tile === tilePx), 'tiles of more than one size');
    tilePx = tile;
    const columns = Math.ceil(width / tile);
    const rows = Math.ceil(height / tile);
    must(16 * columns * rows <= MOST_FRONT, 'too many tiles');
    const tiles = {
      offsets: numbers(TAG.tileOffsets, columns * rows),
      bytes: numbers(TAG.tileBytes, columns * rows),
    };
    must(
      tiles.bytes.every((bytes) => bytes > 0 && bytes <= MOST_TILE_BYTES),
      'a tile without bytes, or with too many',
    );
    const kind = one(TAG.subfileType);
    const compression = one(TAG.compression);
    const bits = one(TAG.bits);
    const last = levels.at(-1);
    if ((kind & MASK) !== 0) {
      must(last?.mask === null && last.width === width && last.height === height, 'a mask of no level');
      must(compression === COMPRESSION.deflate && bits === 1, 'a mask of another kind');
      levels[levels.length - 1] = { ...last!, mask: tiles };
    } else {
      const own = compression === COMPRESSION.jpeg ? 'jpeg' : 'deflate';
      must(own === 'jpeg' || compression === COMPRESSION.deflate, `compression ${compression}`);
      must(bits === 8 && one(TAG.samples) === 1, 'more than one channel of eight bits');
      must(codec === null || codec === own, 'levels in more than one compression');
      codec = own;
      if (last) {
        must((kind & SMALLER) !== 0, 'a second image of full size');
        const [w, h] = [Math.ceil(last.width / 2), Math.ceil(last.height / 2)];
        must(width === w && height === h, 'a level that is not half the one before');
      }
      const common = fields.get(TAG.jpegTables);
      if (common && own === 'jpeg' && tables === null) {
        must(common.count > 4 && common.count <= 1 << 16, 'an impossible size of tables');
        const from = view.getUint32(common.at, true);
        reach(from + common.count);
        tables = front.slice(from, from + common.count);
      }
      levels.push({ width, height, columns, rows, tiles, mask: null });
    }
    at = view.getUint32(end, true);
  }
  must(codec !== null, 'no image');
  const coarsest = levels.at(-1)!;
  must(coarsest.columns === 1 && coarsest.rows === 1, 'no level of a single tile');
  return { codec: codec!, tilePx, tables, levels };
}

/** The level of a Deep Zoom number, where the highest number is full resolution. */
export function packedLevel(directory: PackedDirectory, level: number, maximum: number): PackedLevel {
  const found = directory.levels[maximum - level];
  if (!found) throw new PackedFault(`no level ${level}`);
  return found;
}
