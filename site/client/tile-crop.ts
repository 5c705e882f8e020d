/** A rectangle of a picture at full resolution, put together from its tiles. */
import type { TileLayout } from '../../shared/artefacts/plates.ts';
import type { PlateGrid } from '../../shared/frames.ts';
import { maximumLevel } from '../../shared/pyramid.ts';
import { type Pyramid, readCoarse, readTile, type TilePlace, tileKey } from './tile-reader.ts';

/** Pixels of the grid: column and row of the first, width and height. */
export interface PixelRectangle {
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
}

/** Tiles held for the next rectangle beside this one. */
const HELD = 48;

export class TileCrop {
  readonly #tiles = new Map<string, Promise<ImageBitmap>>();
  readonly #root: string;
  readonly #grid: PlateGrid;

  constructor(root: string, grid: PlateGrid) {
    this.#root = root;
    this.#grid = grid;
  }

  /** @param rectangle inside the grid; what reaches beyond stays transparent */
  async read(path: string, layout: TileLayout, rectangle: PixelRectangle): Promise<ImageData> {
    const side = layout.tile_px;
    const pyramid = this.#pyramid(path, layout);
    const { width_px: width, height_px: height } = this.#grid;
    const level = maximumLevel({ width, height, tilePx: side });
    const canvas = new OffscreenCanvas(rectangle.width, rectangle.height);
    const context = canvas.getContext('2d', { willReadFrequently: true })!;
    const first = [Math.max(0, rectangle.x), Math.max(0, rectangle.y)] as const;
    const last = [
      Math.min(width, rectangle.x + rectangle.width) - 1,
      Math.min(height, rectangle.y + rectangle.height) - 1,
    ] as const;
    const jobs: Promise<void>[] = [];
    for (let column = Math.floor(first[0] / side); column <= Math.floor(last[0] / side); column++) {
      for (let row = Math.floor(first[1] / side); row <= Math.floor(last[1] / side); row++) {
        const [left, top] = [column * side - rectangle.x, row * side - rectangle.y];
        const tile = this.#tile(pyramid, { level, column, row });
        jobs.push(tile.then((bitmap) => context.drawImage(bitmap, left, top)));
      }
    }
    await Promise.all(jobs);
    return context.getImageData(0, 0, rectangle.width, rectangle.height);
  }

  /** The whole picture in coarse pixels: one tile. */
  async coarse(path: string, layout: TileLayout): Promise<ImageData> {
    const pyramid = this.#pyramid(path, layout);
    const bitmap = await this.#hold(`coarse ${path}`, () => readCoarse(pyramid));
    const canvas = new OffscreenCanvas(bitmap.width, bitmap.height);
    const context = canvas.getContext('2d', { willReadFrequently: true })!;
    context.drawImage(bitmap, 0, 0);
    return context.getImageData(0, 0, bitmap.width, bitmap.height);
  }

  #pyramid(path: string, tiles: TileLayout): Pyramid {
    return { grid: this.#grid, tiles, root: this.#root, path };
  }

  #tile(pyramid: Pyramid, place: TilePlace): Promise<ImageBitmap> {
    return this.#hold(tileKey(pyramid, place), () => readTile(pyramid, place));
  }

  #hold(key: string, read: () => Promise<ImageBitmap>): Promise<ImageBitmap> {
    const held = this.#tiles.get(key);
    if (held) return held;
    const tile = read();
    tile.catch(() => this.#tiles.delete(key));
    this.#tiles.set(key, tile);
    for (const oldest of this.#tiles.keys()) {
      if (this.#tiles.size <= HELD) break;
      this.#tiles.delete(oldest);
    }
    return tile;
  }
}
