/**
 * A pyramid in one file that any TIFF reader opens. All directories stand at the beginning, then the coarse levels, then
 * the fine ones, so that the first bytes of the file hold all that is needed to show the whole picture.
 */
import { InputFault } from '../../../shared/errors.ts';
import {
  BLACK_IS_ZERO,
  COMPRESSION,
  FIELD,
  IS_MASK,
  MASK,
  SMALLER,
  TAG,
} from '../../../shared/packed/tags.ts';
import { encodeMasks, encodeTiles, wholeMask } from './encode.ts';
import type { GreyLevel } from './levels.ts';

interface Directory {
  readonly level: GreyLevel;
  readonly tiles: readonly Uint8Array[];
  readonly tables: Uint8Array | null;
  readonly kind: number;
  readonly compression: number;
  readonly bits: 1 | 8;
  readonly photometric: number;
}

type Value = readonly [tag: number, type: number, values: readonly number[] | Uint8Array];

/** More than a classic TIFF can address. */
const MOST_BYTES = 2 ** 32 - 1;

/**
 * @param levels from full resolution down to a single tile
 * @returns the bytes of the file, in pieces
 * @throws InputFault when it would be larger than offsets of 32 bits can say
 */
export async function packPyramid(
  levels: readonly GreyLevel[],
  kind: 'lossy' | 'lossless',
  tilePx: number,
  mostBytes = MOST_BYTES,
): Promise<Uint8Array[]> {
  const directories: Directory[] = [];
  for (const [n, level] of levels.entries()) {
    const smaller = n > 0 ? SMALLER : 0;
    const compression = kind === 'lossy' ? COMPRESSION.jpeg : COMPRESSION.deflate;
    const encoded = await encodeTiles(level, kind, tilePx);
    directories.push({
      ...{ level, ...encoded, kind: smaller, compression },
      ...{ bits: 8, photometric: BLACK_IS_ZERO },
    });
    if (level.held)
      directories.push({
        ...{ level, tiles: encodeMasks(level, tilePx), tables: null, kind: smaller | MASK },
        ...{ compression: COMPRESSION.deflate, bits: 1, photometric: IS_MASK },
      });
  }
  return assemble(directories, tilePx, mostBytes);
}

function assemble(directories: readonly Directory[], tilePx: number, mostBytes: number): Uint8Array[] {
  // Sizes do not depend on where the tiles lie, so the directories are laid out twice.
  const none = directories.map(({ tiles }) => tiles.map(() => 0));
  const front = frontBytes(directories, none, tilePx);
  const { offsets, pieces, end } = placeTiles(directories, front.length, tilePx);
  if (end > mostBytes) {
    const { width, height } = directories[0]!.level;
    throw new InputFault({
      tag: 'limit',
      file: 'campaign.yaml',
      place: 'tiles: packed',
      expected: `pictures that take at most ${(mostBytes / 1e9).toFixed(1)} GB each once they are packed`,
      found: `one of ${width} x ${height} pixels that takes ${(end / 1e9).toFixed(1)} GB`,
      remedy: 'Set "tiles: loose" in campaign.yaml, or divide the scan.',
    });
  }
  return [frontBytes(directories, offsets, tilePx), ...pieces];
}

/** Coarse levels first; a tile and its mask side by side; masks that are the same once for all. */
function placeTiles(directories: readonly Directory[], from: number, tilePx: number) {
  const offsets = directories.map((): number[] => []);
  const pieces: Uint8Array[] = [];
  const placed = new Map<string, number>();
  let end = from;
  const put = (bytes: Uint8Array): number => {
    const at = end;
    pieces.push(bytes);
    end += bytes.length;
    return at;
  };
  const putMask = (bytes: Uint8Array): number => {
    const key = Buffer.from(bytes).toString('latin1');
    const at = placed.get(key) ?? put(bytes);
    placed.set(key, at);
    return at;
  };
  // Most tiles have data everywhere: the mask that says so comes with the first bytes of the file.
  if (directories.some((d) => d.photometric === IS_MASK)) putMask(wholeMask(tilePx));
  for (let n = directories.length - 1; n >= 0; n--) {
    if ((directories[n]!.kind & MASK) !== 0) continue;
    const mask = directories[n + 1]?.photometric === IS_MASK ? n + 1 : null;
    for (const [t, tile] of directories[n]!.tiles.entries()) {
      offsets[n]!.push(put(tile));
      if (mask !== null) offsets[mask]!.push(putMask(directories[mask]!.tiles[t]!));
    }
  }
  return { offsets, pieces, end };
}

function frontBytes(
  directories: readonly Directory[],
  offsets: readonly (readonly number[])[],
  tilePx: number,
): Uint8Array {
  const lists = directories.map((d, n) => fieldsOf(d, offsets[n]!, tilePx));
  let size = 8;
  for (const list of lists) {
    size += 2 + 12 * list.length + 4;
    for (const field of list) size += outside(field);
  }
  const out = Buffer.alloc(size);
  out.writeUInt32LE(0x002a4949, 0);
  out.writeUInt32LE(8, 4);
  let at = 8;
  for (const [n, list] of lists.entries()) {
    let beyond = at + 2 + 12 * list.length + 4;
    out.writeUInt16LE(list.length, at);
    at += 2;
    for (const field of list) {
      const [tag, type, values] = field;
      out.writeUInt16LE(tag, at);
      out.writeUInt16LE(type, at + 2);
      out.writeUInt32LE(values.length, at + 4);
      let to = at + 8;
      if (outside(field) > 0) {
        out.writeUInt32LE(beyond, to);
        to = beyond;
        beyond += outside(field);
      }
      if (values instanceof Uint8Array) out.set(values, to);
      else
        for (const [k, value] of values.entries())
          if (type === FIELD.short) out.writeUInt16LE(value, to + 2 * k);
          else out.writeUInt32LE(value, to + 4 * k);
      at += 12;
    }
    out.writeUInt32LE(n + 1 < lists.length ? beyond : 0, at);
    at = beyond;
  }
  return out;
}

const bytesOf = ([, type, values]: Value): number =>
  values.length * (type === FIELD.long ? 4 : type === FIELD.short ? 2 : 1);

/** Bytes of a value that has no room in its field, to a whole number of words. */
const outside = (field: Value): number => (bytesOf(field) <= 4 ? 0 : 2 * Math.ceil(bytesOf(field) / 2));

function fieldsOf(d: Directory, offsets: readonly number[], tilePx: number): Value[] {
  const { short, long } = FIELD;
  return [
    [TAG.subfileType, long, [d.kind]],
    [TAG.width, long, [d.level.width]],
    [TAG.height, long, [d.level.height]],
    [TAG.bits, short, [d.bits]],
    [TAG.compression, short, [d.compression]],
    [TAG.photometric, short, [d.photometric]],
    [TAG.samples, short, [1]],
    [TAG.planar, short, [1]],
    [TAG.tileWidth, short, [tilePx]],
    [TAG.tileHeight, short, [tilePx]],
    [TAG.tileOffsets, long, offsets],
    [TAG.tileBytes, long, d.tiles.map((tile) => tile.length)],
    ...(d.tables ? [[TAG.jpegTables, FIELD.undefined, d.tables] as const] : []),
  ];
}
