/** The image of a scan in one view: plates from the tiles, and from the brick until those come. */
import { plateGrey, platePath } from '../../shared/plate-path.ts';
import { platesAhead } from '../lib/prefetch.ts';
import { BrickPictures } from './brick-pictures.ts';
import type { PictureView } from './picture-view.ts';
import { PlateSwitch, type Wanted } from './plate-switch.ts';
import { putWords } from './put.ts';
import { PyramidSource } from './pyramid-source.ts';
import type { ScanData } from './scan-data.ts';
import { readCoarse } from './tile-reader.ts';
import { type CoarsePicture, Underlay } from './underlay.ts';

/** How long the brick waits at most for the first plate to come first. */
const FIRST_MS = 900;

export class ScanImage {
  readonly view: PictureView;
  readonly pane: HTMLElement;
  readonly #data: Pick<ScanData, 'root' | 'plates'>;
  readonly #switch: PlateSwitch;
  readonly #withBrick: boolean;
  #brick: BrickPictures | null = null;
  #index = -1;
  #direction: -1 | 0 | 1 = 0;
  #listeners: (() => void)[] = [];

  /** @param withBrick whether the scan has one; without it plates come from their tiles alone */
  constructor(
    view: PictureView,
    pane: HTMLElement,
    data: Pick<ScanData, 'root' | 'plates'>,
    withBrick: boolean,
  ) {
    this.view = view;
    this.pane = pane;
    this.#data = data;
    this.#withBrick = withBrick;
    this.#switch = new PlateSwitch(view.engine, {
      underlay: new Underlay(view),
      onShown: (keys) => this.#shown(keys),
      onSharp: (keys) => {
        pane.dataset.sharp = keys.join(',');
        this.#changed();
      },
      onFail: () => this.note('some tiles of this plate could not be loaded'),
    });
    if (withBrick) this.#openBrick();
  }

  get index(): number {
    return this.#index;
  }

  /** Pictures that the engine holds now. */
  get held(): number {
    return this.#switch.held;
  }

  /** The whole of a plate in small; null where the brick has not come that far. */
  coarse(index: number): CoarsePicture | null {
    const { grey } = this.#data.plates;
    return this.#brick?.paint(index, plateGrey(grey, index)) ?? null;
  }

  /** What is seen now, in small: from the brick, else the coarsest tile once it has come. */
  small(): CoarsePicture | null {
    if (this.#index < 0) return null;
    const coarse = this.coarse(this.#index);
    if (coarse) return coarse;
    if (this.#tile?.index !== this.#index) this.#fetchCoarse(this.#index);
    const bitmap = this.#tile?.bitmap;
    return bitmap ? { canvas: bitmap, width: 1, height: bitmap.height / bitmap.width } : null;
  }
  #tile: { readonly index: number; bitmap: ImageBitmap | null } | null = null;

  async #fetchCoarse(index: number): Promise<void> {
    const { plates, root } = this.#data;
    const tile: { index: number; bitmap: ImageBitmap | null } = { index, bitmap: null };
    this.#tile = tile;
    const { grid, tiles, path } = plates;
    tile.bitmap = await readCoarse({ grid, tiles, root, path: platePath(path, index) }).catch(() => null);
    if (!tile.bitmap) return;
    this.#changed();
  }

  /** True once every plate can be shown at once. */
  get whole(): boolean {
    return this.#brick?.whole ?? false;
  }

  /** @param listener called when something else is seen, or the same more sharply */
  onPicture(listener: () => void): void {
    this.#listeners.push(listener);
  }

  note(words: string): void {
    putWords(this.pane.querySelector('[data-note]'), words);
  }

  show(index: number): void {
    if (index === this.#index) return;
    if (this.#index >= 0) this.view.dropPoster();
    this.#direction = this.#index < 0 ? 0 : index > this.#index ? 1 : -1;
    this.#index = index;
    this.#brick?.travel(index, this.#direction);
    // Nobody travels yet: where the brick answers for every plate, the first one has the line to itself.
    const still = this.#direction === 0 && this.#withBrick;
    const ahead = platesAhead(this.#data.plates.z_um.length, index, this.#direction);
    this.#switch.show(
      [this.#plate(index)],
      (still ? [] : ahead).map((other) => this.#plate(other)),
      () => this.coarse(index),
    );
  }

  async #openBrick(): Promise<void> {
    const { root, plates } = this.#data;
    const brick = await BrickPictures.open(root, plates.grid).catch(() => null);
    if (!brick) return;
    this.#brick = brick;
    brick.onSheet(() => {
      this.pane.toggleAttribute('data-brick-whole', brick.whole);
      this.#changed();
    });
    brick.travel(Math.max(0, this.#index), this.#direction);
    // The first plate has the line to itself.
    const begin = (): void => {
      clearTimeout(timer);
      this.#begin = () => {};
      brick.start();
    };
    const timer = setTimeout(begin, FIRST_MS);
    this.#begin = begin;
    if (this.pane.dataset.sharp !== undefined) begin();
  }
  #begin: () => void = () => {};

  #plate(index: number): Wanted {
    const { plates, root } = this.#data;
    const { grid, tiles, path } = plates;
    return {
      key: `plate ${index}`,
      opacity: 1,
      source: () => new PyramidSource({ grid, tiles, root, path: platePath(path, index) }),
    };
  }

  #shown(keys: readonly string[]): void {
    this.pane.dataset.shown = keys.join(',');
    this.#changed();
  }

  #changed(): void {
    if (this.pane.dataset.sharp !== undefined) this.#begin();
    for (const listener of this.#listeners) listener();
  }
}
