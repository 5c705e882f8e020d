/** Tiles for the pyramid engine: addresses from the hand-over file, decoding off the main thread, tint for renders. */
import OpenSeadragon from 'openseadragon';
import { maximumLevel } from '../../shared/pyramid.ts';
import { coarseLevel } from '../../shared/tile-path.ts';
import { linearTint } from '../lib/tint.ts';
import { type Pyramid, readTile, type TilePlace, tileKey } from './tile-reader.ts';

export interface PyramidOptions extends Pyramid {
  /** "#rrggbb": tiles are coverage, white is drawn; they come out in this colour on clear ground. */
  readonly tint?: string | undefined;
}

export class PyramidSource extends OpenSeadragon.TileSource {
  readonly options: PyramidOptions;
  readonly #running = new Map<OpenSeadragon.ImageJob, AbortController>();

  constructor(options: PyramidOptions) {
    const { grid, tiles } = options;
    const size = { width: grid.width_px, height: grid.height_px, tilePx: tiles.tile_px };
    super({
      width: grid.width_px,
      height: grid.height_px,
      tileSize: tiles.tile_px,
      tileOverlap: 0,
      // The coarsest tile that is asked for covers the whole picture, so one answer is enough to show a plate.
      minLevel: coarseLevel(size),
      maxLevel: maximumLevel(size),
    });
    this.options = options;
  }

  override getTileUrl(level: number, x: number, y: number): string {
    return tileKey(this.options, { level, column: x, row: y });
  }

  override getTileHashKey(level: number, x: number, y: number): string {
    return `${this.getTileUrl(level, x, y)} ${this.options.tint ?? ''}`;
  }

  override hasTransparency(): boolean {
    return this.options.tint !== undefined || this.options.tiles.nodata === 'transparent';
  }

  override downloadTileStart(job: OpenSeadragon.ImageJob): void {
    const control = new AbortController();
    this.#running.set(job, control);
    const { level, x: column, y: row } = job.tile;
    this.#fetchTile({ level, column, row }, control.signal)
      .then((canvas) => {
        if (!control.signal.aborted) job.finish(canvas, null, 'context2d');
      })
      .catch((error: Error) => {
        // A job given up is no failure: the engine would print an error for each.
        if (!control.signal.aborted) job.fail(error.message, null);
      })
      .finally(() => this.#running.delete(job));
  }

  override downloadTileAbort(job: OpenSeadragon.ImageJob): void {
    this.#running.get(job)?.abort();
  }

  /** Called when the picture leaves the engine: what is still under way is not wanted any more. */
  override destroy(): void {
    for (const [job, control] of this.#running) {
      control.abort();
      if (job.jobId !== null) clearTimeout(job.jobId);
    }
    this.#running.clear();
  }

  async #fetchTile(place: TilePlace, signal: AbortSignal): Promise<CanvasRenderingContext2D> {
    const bitmap = await readTile(this.options, place, signal);
    const canvas = document.createElement('canvas');
    canvas.width = bitmap.width;
    canvas.height = bitmap.height;
    const tint = this.options.tint;
    const context = canvas.getContext('2d', { willReadFrequently: tint !== undefined })!;
    context.drawImage(bitmap, 0, 0);
    bitmap.close();
    if (tint !== undefined) {
      const pixels = context.getImageData(0, 0, canvas.width, canvas.height);
      linearTint(pixels.data, tint);
      context.putImageData(pixels, 0, 0);
    }
    return context;
  }
}
