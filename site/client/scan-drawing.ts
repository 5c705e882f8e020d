/** The drawing beside a plate: renders of the layers that lie there, in small until their tiles come. */
import { layersAtPlate, type PlateLayer } from '../lib/depth.ts';
import { CoarseRenders } from './coarse-renders.ts';
import type { PictureView } from './picture-view.ts';
import { PlateSwitch, type Wanted } from './plate-switch.ts';
import { putWords } from './put.ts';
import { PyramidSource } from './pyramid-source.ts';
import type { ScanData } from './scan-data.ts';
import { Underlay } from './underlay.ts';

export class ScanDrawing {
  readonly view: PictureView;
  readonly pane: HTMLElement;
  readonly #data: ScanData;
  readonly #colours: Readonly<Record<string, string>>;
  readonly #switch: PlateSwitch;
  readonly #coarse: CoarseRenders;
  #seen = '';

  constructor(
    view: PictureView,
    pane: HTMLElement,
    data: ScanData,
    colours: Readonly<Record<string, string>>,
  ) {
    this.view = view;
    this.pane = pane;
    this.#data = data;
    this.#colours = colours;
    this.#coarse = new CoarseRenders(data, colours);
    this.#switch = new PlateSwitch(view.engine, {
      underlay: new Underlay(view),
      onShown: (keys) => {
        pane.dataset.shown = keys.join(',');
      },
      onSharp: (keys) => {
        pane.dataset.sharp = keys.join(',');
        this.#coarse.start();
      },
    });
  }

  get held(): number {
    return this.#switch.held;
  }

  show(index: number): void {
    const { layers } = this.#data;
    const near = layersAtPlate(layers.plates, layers.layers, index);
    const drawn = near.filter((layer) => this.#coarse.descriptor(layer.name) !== null);
    // Most steps of depth stay within a layer, and its drawing stays.
    const key = JSON.stringify(near);
    if (key === this.#seen) {
      this.#switch.passOn();
      return;
    }
    const first = this.#seen === '';
    if (!first) this.view.dropPoster();
    this.#seen = key;
    const wanted = drawn.map((layer) => this.#render(layer));
    const upward = layers.layers.map((layer) => layer.name);
    const here = near[0] ? upward.indexOf(near[0].name) : -1;
    // As with the plates: neighbours are fetched once the reader travels.
    const next = here < 0 || first ? [] : [upward[here + 1], upward[here - 1]];
    const ahead = next.flatMap((name) =>
      name && this.#coarse.descriptor(name) !== null && !wanted.some((one) => one.key === name)
        ? [this.#render({ name, share: 1 })]
        : [],
    );
    this.#switch.show(wanted, ahead, () => this.#coarse.paint(drawn));
    putWords(this.pane.querySelector('[data-note]'), words(near, wanted));
  }

  #render({ name, share }: PlateLayer): Wanted {
    const { plates, pictures, root } = this.#data;
    const options = {
      ...{ grid: plates.grid, tiles: pictures!.render_tiles, root },
      ...{ path: this.#coarse.descriptor(name)!, tint: this.#colours[name] ?? '#ffffff' },
    };
    return { key: name, opacity: share, source: () => new PyramidSource(options) };
  }
}

function words(near: readonly PlateLayer[], wanted: readonly Wanted[]): string {
  const names = wanted.map((one) => one.key);
  if (names.length === 0) return 'no layer at this height';
  const faint = near[0] !== undefined && near[0].share < 1;
  return faint ? `${names.join(' and ')}, nearest, drawn faintly` : names.join(' and ');
}
