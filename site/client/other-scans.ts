/** Other scans of the same die as the second picture: each has a pane of its own, opened when it is first wanted. */

import { heightDecimals, nearestPlate } from '../lib/depth.ts';
import { formatUm } from '../lib/numbers.ts';
import { Graticule } from './graticule.ts';
import { PictureView, type PictureViewOptions } from './picture-view.ts';
import { openScanData, type ScanData } from './scan-data.ts';
import { ScanImage } from './scan-image.ts';

export interface OtherScan {
  readonly id: string;
  readonly image: ScanImage;
  readonly graticule: Graticule;
}

interface Opened extends OtherScan {
  readonly data: ScanData;
}

export interface OtherScansOptions {
  readonly host: HTMLElement;
  readonly hands: Pick<PictureViewOptions, 'onDepthWheel' | 'onDepthKey'>;
  /** Called once for every scan that is opened. */
  readonly onOpen: (other: OtherScan) => void;
}

export class OtherScans {
  readonly #options: OtherScansOptions;
  readonly #opened = new Map<string, Promise<Opened>>();
  #chosen: string | null = null;
  #present: Opened | null = null;
  #zUm = 0;

  constructor(options: OtherScansOptions) {
    this.#options = options;
  }

  /** Id of the scan that stands beside the image; null where the drawing does. */
  get chosen(): string | null {
    return this.#chosen;
  }

  get held(): number {
    return this.#present?.image.held ?? 0;
  }

  #pane(id: string): HTMLElement | null {
    return this.#options.host.querySelector<HTMLElement>(`.pane[data-view="other"][data-scan="${id}"]`);
  }

  /** @param id null for the drawing; an id that the page does not know counts as that */
  async choose(id: string | null): Promise<void> {
    const { host } = this.#options;
    const pane = id === null ? null : this.#pane(id);
    this.#chosen = pane ? id : null;
    this.#present = null;
    if (pane) host.dataset.against = id!;
    else delete host.dataset.against;
    for (const one of host.querySelectorAll('.pane[data-view="other"]')) {
      one.classList.toggle('chosen', one === pane);
    }
    const select = host.querySelector<HTMLSelectElement>('select[data-act="against"]');
    if (select) select.value = this.#chosen ?? '';
    if (!pane) return;
    const opening = this.#opened.get(id!) ?? this.#open(id!, pane);
    this.#opened.set(id!, opening);
    try {
      const opened = await opening;
      if (this.#chosen !== id) return;
      opened.image.view.fit();
      this.#present = opened;
      this.show(this.#zUm);
    } catch {
      this.#opened.delete(id!);
      pane.querySelector('[data-note]')!.textContent = 'could not be loaded';
    }
  }

  async #open(id: string, pane: HTMLElement): Promise<Opened> {
    const data = await openScanData(pane.dataset.root!, false);
    const view = new PictureView({
      ground: pane.querySelector<HTMLElement>('.ground')!,
      grid: data.plates.grid,
      wheelZooms: true,
      ...this.#options.hands,
    });
    const image = new ScanImage(view, pane, data, pane.dataset.brick === 'yes');
    const opened = { id, data, image, graticule: new Graticule(view) };
    this.#options.onOpen(opened);
    return opened;
  }

  /** Goes to the plate at the same height, or to the nearest there is. */
  show(zUm: number): void {
    this.#zUm = zUm;
    const opened = this.#present;
    if (!opened) return;
    const { z_um, step_um } = opened.data.plates;
    const index = nearestPlate(z_um, zUm);
    opened.image.show(index);
    const z = z_um[index]!;
    const height = formatUm(z, heightDecimals(step_um));
    const off = Math.abs(z - zUm) > step_um;
    if (z_um.length === 1) opened.image.note('a flat picture: the same at every height');
    else opened.image.note(off ? `ends at z = ${height}` : `plate ${index}, z = ${height}`);
  }
}
