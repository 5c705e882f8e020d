/** The stored grey value of one pixel, read from the tiles of full resolution. */
import type { TileLayout } from '../../shared/artefacts/plates.ts';
import type { PlateGrid } from '../../shared/frames.ts';
import { maximumLevel } from '../../shared/pyramid.ts';
import { type Pyramid, readTile, type TilePlace, tileKey } from './tile-reader.ts';

const HELD = 12;

export class Probe {
  readonly #tiles = new Map<string, Promise<ImageData>>();
  readonly #root: string;
  readonly #grid: PlateGrid;
  readonly #layout: TileLayout;

  constructor(root: string, grid: PlateGrid, layout: TileLayout) {
    this.#root = root;
    this.#grid = grid;
    this.#layout = layout;
  }

  /** Grey 0 to 255, or null where there is no data. */
  async grey(path: string, column: number, row: number): Promise<number | null> {
    const { tile_px: tilePx } = this.#layout;
    const size = { width: this.#grid.width_px, height: this.#grid.height_px, tilePx };
    const [x, y] = [Math.floor(column / tilePx), Math.floor(row / tilePx)];
    const pyramid = { grid: this.#grid, tiles: this.#layout, root: this.#root, path };
    const tile = await this.#tile(pyramid, { level: maximumLevel(size), column: x, row: y });
    const at = 4 * ((row - y * tilePx) * tile.width + (column - x * tilePx));
    return tile.data[at + 3] === 0 ? null : tile.data[at]!;
  }

  #tile(pyramid: Pyramid, place: TilePlace): Promise<ImageData> {
    const key = tileKey(pyramid, place);
    let tile = this.#tiles.get(key);
    if (tile) this.#tiles.delete(key);
    else {
      tile = readPixels(pyramid, place);
      tile.catch(() => this.#tiles.delete(key));
    }
    this.#tiles.set(key, tile);
    for (const oldest of this.#tiles.keys()) {
      if (this.#tiles.size <= HELD) break;
      this.#tiles.delete(oldest);
    }
    return tile;
  }
}

async function readPixels(pyramid: Pyramid, place: TilePlace): Promise<ImageData> {
  const bitmap = await readTile(pyramid, place);
  const canvas = new OffscreenCanvas(bitmap.width, bitmap.height);
  const context = canvas.getContext('2d', { willReadFrequently: true })!;
  context.drawImage(bitmap, 0, 0);
  return context.getImageData(0, 0, bitmap.width, bitmap.height);
}
