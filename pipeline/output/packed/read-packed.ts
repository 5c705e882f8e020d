/** Tiles of a packed pyramid on the disk, for stages that read what an earlier one wrote. */
import { type FileHandle, open } from 'node:fs/promises';
import { promisify } from 'node:util';
import { inflate } from 'node:zlib';
import sharp from 'sharp';
import {
  type PackedDirectory,
  PackedFault,
  packedLevel,
  readDirectory,
} from '../../../shared/packed/directory.ts';
import { spliceJpeg } from '../../../shared/packed/jpeg.ts';
import { applyMask, maskBytes } from '../../../shared/packed/mask.ts';
import { maximumLevel } from '../../../shared/pyramid.ts';

export interface TilePixels {
  /** Grey, grey, grey, opacity. */
  readonly rgba: Uint8Array;
  readonly width: number;
  readonly height: number;
}

const FRONT = 1 << 16;
const unzip = promisify(inflate);

export class PackedReader {
  readonly directory: PackedDirectory;
  readonly #file: FileHandle;

  private constructor(file: FileHandle, directory: PackedDirectory) {
    this.#file = file;
    this.directory = directory;
  }

  /** @throws PackedFault where it is damaged; the file system's error where it is not there */
  static async open(path: string): Promise<PackedReader> {
    const file = await open(path);
    try {
      for (let need = FRONT; ; ) {
        const front = await bytesAt(file, 0, need);
        const directory = readDirectory(front);
        if (typeof directory !== 'number') return new PackedReader(file, directory);
        if (front.length < need) throw new PackedFault(`${path} ends inside a directory`);
        need = Math.max(directory, 2 * need);
      }
    } catch (error) {
      await file.close();
      throw error;
    }
  }

  /**
   * @param level number as in Deep Zoom: the highest is full resolution
   * @throws PackedFault where there is no such tile, or it is damaged
   */
  async tile(level: number, column: number, row: number): Promise<TilePixels> {
    const { levels, codec, tables, tilePx } = this.directory;
    const full = { ...levels[0]!, tilePx };
    const own = packedLevel(this.directory, level, maximumLevel(full));
    if (column >= own.columns || row >= own.rows) throw new PackedFault('no such tile');
    const n = row * own.columns + column;
    const width = Math.min(tilePx, own.width - column * tilePx);
    const height = Math.min(tilePx, own.height - row * tilePx);
    const piece = async ({ offsets, bytes }: PackedDirectory['levels'][number]['tiles']) => {
      const found = await bytesAt(this.#file, offsets[n]!, bytes[n]!);
      if (found.length < bytes[n]!) throw new PackedFault('the file ends too early');
      return found;
    };
    const bytes = await piece(own.tiles);
    const grey =
      codec === 'deflate'
        ? await inflated(bytes, tilePx * tilePx)
        : await sharp(spliceJpeg(tables, bytes, tilePx), { failOn: 'warning' })
            .toColourspace('b-w')
            .raw()
            .toBuffer()
            .catch((cause) => {
              throw new PackedFault('a damaged tile', { cause });
            });
    const rgba = new Uint8Array(4 * width * height);
    for (let p = 0; p < width * height; p++) {
      const value = grey[Math.floor(p / width) * tilePx + (p % width)]!;
      rgba.set([value, value, value, 255], 4 * p);
    }
    if (own.mask) applyMask(rgba, width, await inflated(await piece(own.mask), maskBytes(tilePx)), tilePx);
    return { rgba, width, height };
  }

  close(): Promise<void> {
    return this.#file.close();
  }
}

async function bytesAt(file: FileHandle, from: number, length: number): Promise<Uint8Array> {
  const { buffer, bytesRead } = await file.read(new Uint8Array(length), 0, length, from);
  return buffer.subarray(0, bytesRead);
}

async function inflated(bytes: Uint8Array, length: number): Promise<Uint8Array> {
  const out = await unzip(bytes, { maxOutputLength: length }).catch((cause) => {
    throw new PackedFault('a damaged tile', { cause });
  });
  if (out.length !== length) throw new PackedFault('a tile of another size');
  return out;
}
