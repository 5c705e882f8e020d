/** What a viewer says of its depth: layer, height and plate, on screen and aloud. */
import {
  heightDecimals,
  layerRuns,
  layersAtPlate,
  layerWords,
  nextLayerPlate,
  plateWords,
} from '../lib/depth.ts';
import { formatUm } from '../lib/numbers.ts';
import type { DepthColumn } from './depth-column.ts';
import { putAttribute, putWords } from './put.ts';
import type { ScanData } from './scan-data.ts';

const ANNOUNCE_AFTER_MS = 500;

export class DepthWords {
  readonly #host: HTMLElement;
  readonly #data: Pick<ScanData, 'plates' | 'layers'>;
  readonly #colours: Readonly<Record<string, string>>;
  readonly #column: DepthColumn;
  readonly #decimals: number;
  /** Places of words, looked up once: they are written at every step of depth. */
  readonly #places = new Map<string, Element | null>();
  #timer = 0;

  constructor(
    host: HTMLElement,
    data: Pick<ScanData, 'plates' | 'layers'>,
    colours: Readonly<Record<string, string>>,
    column: DepthColumn,
  ) {
    this.#host = host;
    this.#data = data;
    this.#colours = colours;
    this.#column = column;
    this.#decimals = heightDecimals(data.plates.step_um);
  }

  /** "plate 57, metal2, z = 2.190 µm". */
  of(index: number): string {
    const z = this.#data.plates.z_um[index]!;
    return plateWords(this.#data.layers.plates[index], index, z, this.#decimals);
  }

  write(index: number): void {
    const { plates, layers } = this.#data;
    const label = layers.plates[index];
    const z = plates.z_um[index]!;
    const near = layersAtPlate(layers.plates, layers.layers, index);
    this.#put('[data-now="layer"]', layerWords(label) ?? `plate ${index}`);
    this.#put('[data-now="height"]', `z = ${formatUm(z, this.#decimals)}`);
    const rest = layerWords(label) ? `plate ${index} of 0–${plates.z_um.length - 1}` : '';
    this.#put('[data-now="plate"]', rest);
    this.#put('[data-read="z"]', formatUm(z, this.#decimals));
    const colour = label?.layer ? this.#colours[label.layer] : undefined;
    const swatch = this.#find<SVGElement>('[data-now="swatch"]')!;
    putAttribute(swatch, 'fill', colour ?? 'none');
    swatch.parentElement!.toggleAttribute('hidden', colour === undefined);
    this.#column.update(
      index,
      this.of(index),
      near.map((layer) => layer.name),
    );
    const select = this.#find<HTMLSelectElement>('select[data-act="layer"]');
    if (select && select.value !== (label?.layer ?? '')) select.value = label?.layer ?? '';
    const page = this.#find<HTMLAnchorElement>('[data-layer-page]');
    if (page && near[0]) putAttribute(page, 'href', `${page.dataset.layerRoot}${near[0].name}/`);
    this.#bound(index);
  }

  /** Buttons that lead nowhere say so. */
  #bound(index: number): void {
    const labels = this.#data.layers.plates;
    const layered = layerRuns(labels).length > 0;
    for (const [act, direction] of [
      ['layer-up', 1],
      ['layer-down', -1],
    ] as const) {
      const stuck = layered
        ? nextLayerPlate(labels, index, direction) === index
        : index === (direction > 0 ? labels.length - 1 : 0);
      putAttribute(this.#find(`[data-act="${act}"]`), 'aria-disabled', String(stuck));
    }
  }

  /** Says the depth aloud once it rests, where the slider does not say it by itself. */
  announce(index: number): void {
    this.hush();
    this.#timer = window.setTimeout(() => {
      if (document.activeElement?.getAttribute('role') === 'slider') return;
      this.#put('[data-announce]', this.of(index));
    }, ANNOUNCE_AFTER_MS);
  }

  /** What is said instead must not be followed by the depth. */
  hush(): void {
    clearTimeout(this.#timer);
  }

  #find<T extends Element>(place: string): T | null {
    let element = this.#places.get(place);
    if (element === undefined) {
      element = this.#host.querySelector(place);
      this.#places.set(place, element);
    }
    return element as T | null;
  }

  #put(place: string, words: string): void {
    putWords(this.#find(place), words);
  }
}
