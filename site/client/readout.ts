/** Coordinates and value under the pointer. */
import type { GreyMap } from '../../shared/artefacts/plates.ts';
import type { PlateGrid } from '../../shared/frames.ts';
import { dieFromEngine, pixelAtDie } from '../lib/camera.ts';
import { formatValue } from '../lib/grey.ts';
import { formatUm } from '../lib/numbers.ts';
import type { Graticule } from './graticule.ts';
import type { PictureView } from './picture-view.ts';
import type { Probe } from './probe.ts';
import { putWords } from './put.ts';

export interface ReadoutSource {
  readonly probe: Probe | null;
  /** What its greys mean. */
  readonly grey: () => GreyMap | null;
  /** Descriptor of the picture that is read now. */
  readonly path: () => string | null;
}

export class Readout {
  readonly #host: HTMLElement;
  readonly #grid: PlateGrid;
  readonly #source: ReadoutSource;
  readonly #decimals: number;
  /** Die position. */
  #at: readonly [number, number] | null = null;
  #token = 0;
  readonly #graticules: Graticule[] = [];

  constructor(host: HTMLElement, grid: PlateGrid, source: ReadoutSource) {
    this.#host = host;
    this.#grid = grid;
    this.#source = source;
    this.#decimals = Math.min(4, Math.max(2, Math.ceil(-Math.log10(grid.pixel_um)) + 1));
  }

  /** Follows the pointer in one more view, and marks the same place in all others. */
  follow(view: PictureView, graticule: Graticule): void {
    this.#graticules.push(graticule);
    const mark = (): void => {
      for (const other of this.#graticules) if (other !== graticule) other.showTwin(this.#at);
      this.refresh();
    };
    view.ground.addEventListener('pointermove', (event) => {
      // A view of another scan has a grid of its own.
      this.#at = dieFromEngine(view.grid, ...view.pointAt(event));
      mark();
    });
    view.ground.addEventListener('pointerleave', () => {
      this.#at = null;
      mark();
    });
  }

  /** Reads again, after the pointer or the plate has moved. */
  refresh(): void {
    const token = ++this.#token;
    const pixel = this.#at && pixelAtDie(this.#grid, ...this.#at);
    if (!this.#at || !pixel) {
      for (const name of ['x', 'y', 'value']) this.#write(name, '–');
      return;
    }
    const [x, y] = this.#at;
    this.#write('x', formatUm(x, this.#decimals));
    this.#write('y', formatUm(y, this.#decimals));
    const path = this.#source.path();
    const { probe } = this.#source;
    const map = this.#source.grey();
    if (!probe || !map || path === null) return;
    probe.grey(path, pixel[0], pixel[1]).then(
      (grey) => {
        if (token === this.#token) this.#write('value', grey === null ? 'no data' : formatValue(map, grey));
      },
      () => {
        if (token === this.#token) this.#write('value', '–');
      },
    );
  }

  #write(name: string, words: string): void {
    putWords(this.#host.querySelector(`[data-read="${name}"]`), words);
  }
}
