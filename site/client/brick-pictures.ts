/** The brick of a scan in the browser: sheets fetched from the present height outward, planes painted on demand. */
import type { Brick } from '../../shared/artefacts/brick.ts';
import { cellOfPlane, planeOfPlate } from '../../shared/brick.ts';
import type { PlateGrid } from '../../shared/frames.ts';
import { brickPixels, sheetOrder } from '../lib/brick-order.ts';
import { BrickSheet } from './brick-sheet.ts';
import { whenIdle } from './next-task.ts';
import { decodeTile } from './tile-reader.ts';
import type { CoarsePicture } from './underlay.ts';

const AT_ONCE = 2;
/** Tries at a sheet before it is left alone: plates come without it, too. */
const TRIES = 2;

export class BrickPictures {
  readonly brick: Brick;
  readonly #root: string;
  readonly #grid: PlateGrid;
  readonly #sheets: (BrickSheet | null)[];
  readonly #tries: number[];
  readonly #running = new Set<number>();
  readonly #canvas = document.createElement('canvas');
  readonly #context: CanvasRenderingContext2D;
  readonly #pixels: ImageData;
  /** Planes are taken out of their sheets here. */
  readonly #plane: CanvasRenderingContext2D;
  #unpacking = false;
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
    this.#context = this.#canvas.getContext('2d')!;
    this.#pixels = this.#context.createImageData(brick.columns, brick.rows);
    const plane = document.createElement('canvas');
    plane.width = brick.columns;
    plane.height = brick.rows;
    this.#plane = plane.getContext('2d', { willReadFrequently: true })!;
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
    const greys = sheet.greys(plane - brick.sheets[cell.sheet]!.first, this.#plane);
    const table = brickPixels(brick.grey, window);
    const pixels = new Uint32Array(this.#pixels.data.buffer);
    for (let n = 0; n < pixels.length; n++) pixels[n] = table[greys[n]!]!;
    this.#context.putImageData(this.#pixels, 0, 0);
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
        (sheet) => {
          this.#sheets[n] = sheet;
          this.#unpack();
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

  async #fetch(n: number, first: boolean): Promise<BrickSheet> {
    const address = this.#root + this.brick.sheets[n]!.file;
    const answer = await fetch(address, { priority: first ? 'auto' : 'low' });
    if (!answer.ok) throw new Error(`${address}: ${answer.status}`);
    const { first: plane, count } = this.brick.sheets[n]!;
    const corners = Array.from({ length: count }, (_, cell) => {
      const { x, y } = cellOfPlane(this.brick, plane + cell)!;
      return [x, y] as const;
    });
    return new BrickSheet(await decodeTile(await answer.blob()), corners);
  }

  /** Takes planes out of their sheets while nothing else is to be done, so that a step of depth need not. */
  #unpack(): void {
    if (this.#unpacking) return;
    this.#unpacking = true;
    whenIdle(() => {
      this.#unpacking = false;
      if (this.#sheets.some((sheet) => sheet?.takeOne(this.#plane))) this.#unpack();
    });
  }
}
