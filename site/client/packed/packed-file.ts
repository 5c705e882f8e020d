/** One packed pyramid: where its tiles lie, and their pixels, by decoders that the browser has. */
import {
  type PackedDirectory,
  PackedFault,
  type PackedTiles,
  packedLevel,
  readDirectory,
} from '../../../shared/packed/directory.ts';
import { spliceJpeg } from '../../../shared/packed/jpeg.ts';
import { applyMask, maskBytes } from '../../../shared/packed/mask.ts';
import { maximumLevel } from '../../../shared/pyramid.ts';
import { AS_STORED, type Pyramid, type TilePlace } from '../tile-reader.ts';
import { ByteRanges } from './byte-ranges.ts';
import { inflate } from './inflate.ts';

export class PackedFile {
  readonly #ranges: ByteRanges;
  readonly #pyramid: Pyramid;
  #directory: Promise<PackedDirectory> | null = null;
  /** Masks by where they lie, null for those that say that all is there: most tiles share one. */
  readonly #masks = new Map<number, Promise<Uint8Array | null>>();

  constructor(pyramid: Pyramid, onWholeFile: () => void) {
    this.#pyramid = pyramid;
    this.#ranges = new ByteRanges(pyramid.root + pyramid.path, onWholeFile);
  }

  async tile({ level, column, row }: TilePlace, signal?: AbortSignal): Promise<ImageBitmap> {
    const directory = await this.#open();
    signal?.throwIfAborted();
    const { grid } = this.#pyramid;
    const { codec, tilePx, tables } = directory;
    const maximum = maximumLevel({ width: grid.width_px, height: grid.height_px, tilePx });
    const own = packedLevel(directory, level, maximum);
    if (!(column >= 0 && column < own.columns && row >= 0 && row < own.rows))
      throw new PackedFault('no such tile');
    const n = row * own.columns + column;
    const width = Math.min(tilePx, own.width - column * tilePx);
    const height = Math.min(tilePx, own.height - row * tilePx);
    // Both are asked for before either is waited for: they lie side by side and come in one answer.
    const [bytes, mask] = await Promise.all([
      this.#bytes(own.tiles, n, signal),
      own.mask && this.#mask(own.mask, n, tilePx, signal),
    ]);
    if (codec === 'deflate') {
      const grey = await inflate(bytes, tilePx * tilePx);
      return createImageBitmap(greyImage(grey, tilePx, width, height, mask), AS_STORED);
    }
    const jpeg = spliceJpeg(tables, bytes, tilePx);
    const blob = new Blob([jpeg as Uint8Array<ArrayBuffer>], { type: 'image/jpeg' });
    if (!mask) return createImageBitmap(blob, 0, 0, width, height, AS_STORED);
    const whole = await createImageBitmap(blob, AS_STORED);
    const context = new OffscreenCanvas(width, height).getContext('2d', { willReadFrequently: true })!;
    context.drawImage(whole, 0, 0);
    whole.close();
    const pixels = context.getImageData(0, 0, width, height);
    applyMask(pixels.data, width, mask, tilePx);
    return createImageBitmap(pixels, AS_STORED);
  }

  #open(): Promise<PackedDirectory> {
    this.#directory ??= this.#read().catch((error) => {
      this.#directory = null;
      throw error;
    });
    return this.#directory;
  }

  async #read(): Promise<PackedDirectory> {
    const { grid, tiles, path } = this.#pyramid;
    let front = await this.#ranges.front();
    let directory = readDirectory(front);
    while (typeof directory === 'number') {
      const before = front.length;
      front = await this.#ranges.front(directory);
      if (front.length <= before) throw new PackedFault(`${path} ends inside a directory`);
      directory = readDirectory(front);
    }
    const full = directory.levels[0]!;
    if (full.width !== grid.width_px || full.height !== grid.height_px || directory.tilePx !== tiles.tile_px)
      throw new PackedFault(`${path} is not of the size that plates.json states`);
    return directory;
  }

  #bytes({ offsets, bytes }: PackedTiles, n: number, signal?: AbortSignal): Promise<Uint8Array> {
    return this.#ranges.read(offsets[n]!, offsets[n]! + bytes[n]!, signal);
  }

  #mask(tiles: PackedTiles, n: number, side: number, signal?: AbortSignal): Promise<Uint8Array | null> {
    const at = tiles.offsets[n]!;
    const known = this.#masks.get(at);
    // Another tile that waits for the same mask may be given up; this one is not.
    if (known) return known.catch(() => this.#mask(tiles, n, side, signal));
    const mask = this.#bytes(tiles, n, signal)
      .then((bytes) => inflate(bytes, maskBytes(side)))
      .then((bits) => (bits.every((eight) => eight === 0xff) ? null : bits));
    mask.catch(() => this.#masks.delete(at));
    this.#masks.set(at, mask);
    return mask;
  }
}

function greyImage(
  grey: Uint8Array,
  side: number,
  width: number,
  height: number,
  mask: Uint8Array | null,
): ImageData {
  const image = new ImageData(width, height);
  const { data } = image;
  for (let row = 0, p = 0; row < height; row++)
    for (let column = 0; column < width; column++, p += 4) {
      data[p] = data[p + 1] = data[p + 2] = grey[row * side + column]!;
      data[p + 3] = 255;
    }
  if (mask) applyMask(data, width, mask, side);
  return image;
}
