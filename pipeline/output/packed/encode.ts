/** Tiles of one level, encoded by sharp in one go and taken out of the file that it makes. */
import { deflateSync } from 'node:zlib';
import sharp from 'sharp';
import { maskBytes } from '../../../shared/packed/mask.ts';
import { TAG } from '../../../shared/packed/tags.ts';
import { forBlocks, type GreyLevel } from './levels.ts';

export interface EncodedTiles {
  readonly tiles: readonly Uint8Array[];
  /** Tables in common; null with deflate. */
  readonly tables: Uint8Array | null;
}

/**
 * Chosen by the measurement recorded in tests/bench/results.md: it errs as little as the WebP 88 of loose tiles, and less
 * in the means that widths are measured on, for a fifth more bytes and a seventh of the time.
 */
const QUALITY = 92;

export async function encodeTiles(
  level: GreyLevel,
  kind: 'lossy' | 'lossless',
  tilePx: number,
): Promise<EncodedTiles> {
  const { width, height, grey } = kind === 'lossy' ? forBlocks(level) : level;
  const file = await sharp(grey, { raw: { width, height, channels: 1 }, limitInputPixels: false })
    .toColourspace('b-w')
    .tiff({
      ...{ tile: true, tileWidth: tilePx, tileHeight: tilePx, predictor: 'none' },
      ...(kind === 'lossy' ? { compression: 'jpeg', quality: QUALITY } : { compression: 'deflate' }),
    })
    .toBuffer();
  return takeOut(file);
}

/** Reads the one directory of a file that sharp has just made. */
function takeOut(file: Buffer): EncodedTiles {
  const at = file.readUInt32LE(4);
  const fields = new Map<number, { type: number; count: number; at: number }>();
  for (let n = 0; n < file.readUInt16LE(at); n++) {
    const field = at + 2 + 12 * n;
    fields.set(file.readUInt16LE(field), {
      ...{ type: file.readUInt16LE(field + 2), count: file.readUInt32LE(field + 4), at: field + 8 },
    });
  }
  const numbers = (tag: number): number[] => {
    const field = fields.get(tag)!;
    const wide = field.type === 3 ? 2 : 4;
    const from = field.count * wide <= 4 ? field.at : file.readUInt32LE(field.at);
    return Array.from({ length: field.count }, (_, n) =>
      wide === 2 ? file.readUInt16LE(from + 2 * n) : file.readUInt32LE(from + 4 * n),
    );
  };
  if (numbers(TAG.samples)[0] !== 1) throw new Error('The encoder made more than one channel.');
  const sizes = numbers(TAG.tileBytes);
  const tiles = numbers(TAG.tileOffsets).map((from, n) => file.subarray(from, from + sizes[n]!));
  const common = fields.get(TAG.jpegTables);
  const from = common && file.readUInt32LE(common.at);
  return { tiles, tables: common ? file.subarray(from!, from! + common.count) : null };
}

const wholeMasks = new Map<number, Uint8Array>();

/** The mask of a tile that has data everywhere. */
export function wholeMask(tilePx: number): Uint8Array {
  const mask =
    wholeMasks.get(tilePx) ?? deflateSync(new Uint8Array(maskBytes(tilePx)).fill(0xff), { level: 6 });
  wholeMasks.set(tilePx, mask);
  return mask;
}

/**
 * Masks of all tiles of a level, deflated; beyond the picture they say that there is data, so that the tiles of a
 * picture without gaps are all the same.
 */
export function encodeMasks(
  { width, height, held }: Pick<GreyLevel, 'width' | 'height' | 'held'>,
  tilePx: number,
): Uint8Array[] {
  const columns = Math.ceil(width / tilePx);
  const rows = Math.ceil(height / tilePx);
  const masks: Uint8Array[] = [];
  for (let n = 0; n < columns * rows; n++) {
    const left = (n % columns) * tilePx;
    const top = Math.floor(n / columns) * tilePx;
    const bits = new Uint8Array(maskBytes(tilePx)).fill(0xff);
    const right = Math.min(width, left + tilePx);
    let whole = true;
    for (let row = top; row < Math.min(height, top + tilePx); row++) {
      const first = held!.subarray(row * width + left, row * width + right).indexOf(0);
      if (first < 0) continue;
      whole = false;
      for (let column = left + first; column < right; column++) {
        if (held![row * width + column] !== 0) continue;
        const bit = (row - top) * tilePx + (column - left);
        bits[bit >> 3]! &= ~(0x80 >> (bit & 7));
      }
    }
    masks.push(whole ? wholeMask(tilePx) : deflateSync(bits, { level: 6 }));
  }
  return masks;
}
