/** Three small pictures of one place: image, drawing, and what differs. */
import type { Pictures } from '../../shared/artefacts/pictures.ts';
import { type PlateGrid, pixelFromDie } from '../../shared/frames.ts';
import { fitContrast, localGround, paintDifference, stretchGrey, stretchToFit } from '../lib/difference.ts';
import { linearTint } from '../lib/tint.ts';
import type { PixelRectangle, TileCrop } from './tile-crop.ts';

export interface TrioPlace {
  readonly centreUm: readonly [number, number];
  readonly boxUm: readonly [number, number, number, number];
  /** Descriptors of portrait and render. */
  readonly paths: readonly [string, string];
  readonly colour: string;
  /** "F0007, missing via on via2". */
  readonly words: string;
}

/** The window is this many times as large as the place. */
const AROUND = 3;
const LEAST_PX = 24;
const MOST_PX = 192;
/** Greys over which a picture is stretched at most, where the contrast of the layer is not known. */
const LEAST_RANGE = 48;

export class TrioPicture {
  readonly #crop: TileCrop;
  readonly #grid: PlateGrid;
  readonly #pictures: Pick<Pictures, 'portrait_tiles' | 'render_tiles'>;
  readonly #contrasts = new Map<string, Promise<number | null>>();

  constructor(crop: TileCrop, grid: PlateGrid, pictures: Pick<Pictures, 'portrait_tiles' | 'render_tiles'>) {
    this.#crop = crop;
    this.#grid = grid;
    this.#pictures = pictures;
  }

  #window(place: TrioPlace): PixelRectangle {
    const [x0, y0, x1, y1] = place.boxUm;
    const larger = Math.max(x1 - x0, y1 - y0) / this.#grid.pixel_um;
    const side = Math.round(Math.min(MOST_PX, Math.max(LEAST_PX, AROUND * larger)));
    const [column, row] = pixelFromDie(this.#grid, place.centreUm[0], place.centreUm[1]);
    return { x: Math.round(column - side / 2), y: Math.round(row - side / 2), width: side, height: side };
  }

  /** Contrast of a whole layer, once for all its findings. */
  #contrast([portrait, render]: TrioPlace['paths']): Promise<number | null> {
    const held = this.#contrasts.get(portrait);
    if (held) return held;
    const { portrait_tiles, render_tiles } = this.#pictures;
    const contrast = Promise.all([
      this.#crop.coarse(portrait, portrait_tiles),
      this.#crop.coarse(render, render_tiles),
    ]).then(([image, drawing]) => fitContrast(image.data, drawing.data));
    this.#contrasts.set(portrait, contrast);
    return contrast;
  }

  /** Image, drawing and difference as canvases; the last is missing where it would show nothing. */
  async draw(place: TrioPlace): Promise<HTMLCanvasElement[]> {
    const window = this.#window(place);
    const [portrait, render] = place.paths;
    const [image, drawing, contrast] = await Promise.all([
      this.#crop.read(portrait, this.#pictures.portrait_tiles, window),
      this.#crop.read(render, this.#pictures.render_tiles, window),
      this.#contrast(place.paths),
    ]);
    const ground = contrast === null ? null : localGround(image.data, drawing.data, contrast);
    const difference = new ImageData(window.width, window.height);
    const fit = contrast !== null && ground !== null ? { contrast, ground } : null;
    if (fit) {
      paintDifference(image.data, drawing.data, fit, difference.data);
      stretchToFit(image.data, fit);
    } else stretchGrey(image.data, LEAST_RANGE);
    linearTint(drawing.data, place.colour);
    return [
      canvasOf(image, `Image at ${place.words}`),
      canvasOf(drawing, `Drawing at ${place.words}`),
      ...(fit ? [canvasOf(difference, `Difference at ${place.words}`)] : []),
    ];
  }
}

function canvasOf(pixels: ImageData, words: string): HTMLCanvasElement {
  const canvas = document.createElement('canvas');
  canvas.width = pixels.width;
  canvas.height = pixels.height;
  canvas.getContext('2d')!.putImageData(pixels, 0, 0);
  canvas.setAttribute('role', 'img');
  canvas.setAttribute('aria-label', words);
  return canvas;
}
