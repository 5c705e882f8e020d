/** All layers of the drawing in small, a tile each, so that no depth waits for its drawing. */
import { levelSize, maximumLevel } from '../../shared/pyramid.ts';
import { coarseLevel } from '../../shared/tile-path.ts';
import type { PlateLayer } from '../lib/depth.ts';
import { linearTint } from '../lib/tint.ts';
import type { ScanData } from './scan-data.ts';
import { readCoarse } from './tile-reader.ts';
import type { CoarsePicture } from './underlay.ts';

export class CoarseRenders {
  readonly #data: ScanData;
  readonly #colours: Readonly<Record<string, string>>;
  readonly #layers = new Map<string, HTMLCanvasElement>();
  readonly #canvas = document.createElement('canvas');
  #started = false;

  constructor(data: ScanData, colours: Readonly<Record<string, string>>) {
    this.#data = data;
    this.#colours = colours;
  }

  /** Descriptor of a layer's render, or null where it has none. */
  descriptor(name: string): string | null {
    return this.#data.pictures?.layers.find((layer) => layer.name === name)?.render?.path ?? null;
  }

  /** Fetches one after the other; what fails is left to the tiles. */
  async start(): Promise<void> {
    if (this.#started) return;
    this.#started = true;
    for (const layer of this.#data.pictures?.layers ?? []) {
      if (layer.render) await this.#load(layer.name, layer.render.path).catch(() => {});
    }
  }

  /** The layers of a plate over each other, or null until all of them are there. */
  paint(layers: readonly PlateLayer[]): CoarsePicture | null {
    const found = layers.map((layer) => this.#layers.get(layer.name));
    const first = found[0];
    if (!first || found.some((one) => one === undefined)) return null;
    this.#canvas.width = first.width;
    this.#canvas.height = first.height;
    const context = this.#canvas.getContext('2d')!;
    // The nearest layer comes first and lies undermost, as its tiles do.
    for (const [n, layer] of layers.entries()) {
      context.globalAlpha = layer.share;
      context.drawImage(found[n]!, 0, 0);
    }
    const { width_px } = this.#data.plates.grid;
    const size = this.#size();
    const halvings = maximumLevel(size) - coarseLevel(size);
    const scale = 2 ** halvings / width_px;
    return { canvas: this.#canvas, width: first.width * scale, height: first.height * scale };
  }

  #size() {
    const { width_px: width, height_px: height } = this.#data.plates.grid;
    return { width, height, tilePx: this.#data.pictures!.render_tiles.tile_px };
  }

  async #load(name: string, path: string): Promise<void> {
    const size = this.#size();
    const { root, plates, pictures } = this.#data;
    const pyramid = { grid: plates.grid, tiles: pictures!.render_tiles, root, path };
    const bitmap = await readCoarse(pyramid, { priority: 'low' });
    const { width, height } = levelSize(size, coarseLevel(size));
    const canvas = document.createElement('canvas');
    canvas.width = width;
    canvas.height = height;
    const context = canvas.getContext('2d', { willReadFrequently: true })!;
    context.drawImage(bitmap, 0, 0);
    bitmap.close();
    const pixels = context.getImageData(0, 0, width, height);
    linearTint(pixels.data, this.#colours[name] ?? '#ffffff');
    context.putImageData(pixels, 0, 0);
    this.#layers.set(name, canvas);
  }
}
