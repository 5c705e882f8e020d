/** The brick of a scan in the browser: sheets fetched from the present height outward, planes painted on demand. */
import type { Brick } from '../../shared/artefacts/brick.ts';
import { cellOfPlane, planeOfPlate } from '../../shared/brick.ts';
import type { PlateGrid } from '../../shared/frames.ts';
import { brickLookUp, sheetOrder } from '../lib/brick-order.ts';
import { decodeTile } from './tile-reader.ts';
import type { CoarsePicture } from './underlay.ts';

const AT_ONCE = 2;
/** Tries at a sheet before it is left alone: plates come without it, too. */
const TRIES = 2;

export class BrickPictures {
  readonly brick: Brick;
  readonly #root: string;
  readonly #grid: PlateGrid;
  readonly #sheets: (ImageBitmap | null)[];
  readonly #tries: number[];
  readonly #running = new Set<number>();
  readonly #canvas = document.createElement('canvas');
  readonly #context: CanvasRenderingContext2D;
  #listeners: (() => void)[] = [];
  /** Plate on the canvas. */
  #painted = -1;
  #present = 0;
  #direction: -1 | 0 | 1 = 0;
  #wanted = false;

  /** @param root address of the scan folder, with a slash at its end */
  static async open(root: string, grid: PlateGrid): Promise<BrickPictures> {
    const answer = await fetch(`${root}brick.json`);
    if (!answer.ok) throw new Error(`brick.json: ${answer.status}`);
    return new BrickPictures((await answer.json()) as Brick, root, grid);
  }

  private constructor(brick: Brick, root: string, grid: PlateGrid) {
    this.brick = brick;
    this.#root = root;
    this.#grid = grid;
    this.#sheets = brick.sheets.map(() => null);
    this.#tries = brick.sheets.map(() => 0);
    this.#canvas.width = brick.columns;
    this.#canvas.height = brick.rows;
    this.#context = this.#canvas.getContext('2d', { willReadFrequently: true })!;
  }

  /** True once every sheet is there. */
  get whole(): boolean {
    return this.#sheets.every((sheet) => sheet !== null);
  }

  onSheet(listener: () => void): void {
    this.#listeners.push(listener);
  }

  /** Where the reader is, and where to: the order of what is still to come. */
  travel(plate: number, direction: -1 | 0 | 1): void {
    this.#present = plate;
    this.#direction = direction;
    if (this.#wanted) this.#load();
  }

  /** Begins to fetch; before that the first plate has the line to itself. */
  start(): void {
    this.#wanted = true;
    this.#load();
  }

  /**
   * A plate in the greys of its own window.
   * @returns null where its sheet has not come yet; the canvas is the same for every call
   */
  paint(plate: number, window: { readonly black: number; readonly white: number }): CoarsePicture | null {
    const { brick } = this;
    const plane = planeOfPlate(brick, plate);
    const cell = cellOfPlane(brick, plane);
    const sheet = cell && this.#sheets[cell.sheet];
    if (!cell || !sheet) return null;
    const { columns, rows } = brick;
    const widthUm = this.#grid.width_px * this.#grid.pixel_um;
    const picture = {
      canvas: this.#canvas,
      width: (columns * brick.pixel_um) / widthUm,
      height: (rows * brick.pixel_um) / widthUm,
    };
    // The overview asks for the same plate again.
    if (this.#painted === plate) return picture;
    this.#painted = plate;
    const context = this.#context;
    context.globalCompositeOperation = 'copy';
    context.drawImage(sheet, cell.x, cell.y, columns, rows, 0, 0, columns, rows);
    const pixels = context.getImageData(0, 0, columns, rows);
    const greys = brickLookUp(brick.grey, window);
    const { data } = pixels;
    for (let n = 0; n < data.length; n += 4) {
      const grey = greys[data[n]!]!;
      data[n] = grey;
      data[n + 1] = grey;
      data[n + 2] = grey;
    }
    context.putImageData(pixels, 0, 0);
    return picture;
  }

  #load(): void {
    const present = this.brick.sheets.findIndex(({ first, count }) => {
      const plane = planeOfPlate(this.brick, this.#present);
      return plane >= first && plane < first + count;
    });
    for (const n of sheetOrder(this.#sheets.length, Math.max(0, present), this.#direction)) {
      if (this.#running.size >= AT_ONCE) return;
      if (this.#sheets[n] || this.#running.has(n) || this.#tries[n]! >= TRIES) continue;
      this.#running.add(n);
      this.#tries[n]!++;
      this.#fetch(n, n === present).then(
        (bitmap) => {
          this.#sheets[n] = bitmap;
          this.#running.delete(n);
          for (const listener of this.#listeners) listener();
          this.#load();
        },
        () => {
          this.#running.delete(n);
          this.#load();
        },
      );
    }
  }

  async #fetch(n: number, first: boolean): Promise<ImageBitmap> {
    const address = this.#root + this.brick.sheets[n]!.file;
    const answer = await fetch(address, { priority: first ? 'auto' : 'low' });
    if (!answer.ok) throw new Error(`${address}: ${answer.status}`);
    return decodeTile(await answer.blob());
  }
}
