/** The viewer of one scan: joins depth, pictures, readout and address. */
import type { Layers } from '../../shared/artefacts/layers.ts';
import type { Pictures } from '../../shared/artefacts/pictures.ts';
import type { Plates } from '../../shared/artefacts/plates.ts';
import { plateGrey, platePath } from '../../shared/plate-path.ts';
import {
  clampPlate,
  heightDecimals,
  layerRuns,
  layersAtPlate,
  layerWords,
  nearestPlate,
  nextLayerPlate,
  plateWords,
} from '../lib/depth.ts';
import { formatUm } from '../lib/numbers.ts';
import { encodeState, type NetPlace, parseState, type ViewState, type Views } from '../lib/permalink.ts';
import { platesAhead } from '../lib/prefetch.ts';
// The import alone defines the element; the type is only a name.
import './depth-column.ts';
import type { DepthColumn } from './depth-column.ts';
import { Graticule } from './graticule.ts';
import { attachControls, isViews, leading, setViews } from './pane-controls.ts';
import { linkViews, PictureView } from './picture-view.ts';
import { PlateSwitch, type Wanted } from './plate-switch.ts';
import { Probe } from './probe.ts';
import { PyramidSource } from './pyramid-source.ts';
import { Readout } from './readout.ts';
import { openPanels, type Panels } from './viewer-panels.ts';

const json = async <T>(address: string): Promise<T> => {
  const answer = await fetch(address);
  if (!answer.ok) throw new Error(`${address}: ${answer.status}`);
  return answer.json() as Promise<T>;
};

/** Browsers allow about a hundred changes of the address in half a minute. */
const ADDRESS_EVERY_MS = 350;
const ANNOUNCE_AFTER_MS = 500;

class ScanViewer extends HTMLElement {
  #root = '';
  #plates!: Plates;
  #layers!: Layers;
  #pictures: Pictures | null = null;
  #colours: Record<string, string> = {};
  #index = -1;
  #direction: -1 | 0 | 1 = 0;
  #decimals = 3;
  #views: PictureView[] = [];
  #image!: { view: PictureView; plates: PlateSwitch; pane: HTMLElement };
  #drawing: { view: PictureView; plates: PlateSwitch; pane: HTMLElement } | null = null;
  #graticules: Graticule[] = [];
  #readout!: Readout;
  #column: DepthColumn | null = null;
  #addressTimer = 0;
  #announceTimer = 0;
  #written = '';
  #plateListeners: (() => void)[] = [];
  #panels: Panels | null = null;
  #kept: { finding?: string | null; net?: NetPlace | null } = {};

  /** Pictures that both engines hold now, for watching that it stays bounded. */
  get held(): number {
    return this.#image.plates.held + (this.#drawing?.plates.held ?? 0);
  }

  async connectedCallback(): Promise<void> {
    this.#root = this.dataset.root ?? '';
    this.#colours = JSON.parse(this.dataset.colours ?? '{}');
    const withDrawing = this.dataset.drawing === 'yes';
    [this.#plates, this.#layers, this.#pictures] = await Promise.all([
      json<Plates>(`${this.#root}plates.json`),
      json<Layers>(`${this.#root}layers.json`),
      withDrawing ? json<Pictures>(`${this.#root}pictures.json`) : null,
    ]);
    this.#decimals = heightDecimals(this.#plates.step_um);
    this.#column = this.querySelector<DepthColumn>('depth-column');
    const deep = this.#column !== null;
    for (const pane of this.querySelectorAll<HTMLElement>('.pane')) {
      const view = new PictureView({
        ground: pane.querySelector<HTMLElement>('.ground')!,
        grid: this.#plates.grid,
        wheelZooms: true,
        onDepthWheel: deep ? (event) => this.#column!.wheel(event) : undefined,
        onDepthKey: deep ? (key) => !key.startsWith('Arrow') && this.#depthKey(key) : undefined,
      });
      const plates = new PlateSwitch(
        view.engine,
        (keys) => this.#shown(pane, keys),
        () => this.#note(pane, 'some tiles of this plate could not be loaded'),
      );
      const part = { view, plates, pane };
      if (pane.dataset.view === 'image') this.#image = part;
      else this.#drawing = part;
      this.#views.push(view);
    }
    this.#graticules = this.#views.map((view) => new Graticule(view));
    const { grid, tiles, grey } = this.#plates;
    this.#readout = new Readout(this, grid, {
      probe: new Probe(this.#root, grid, tiles),
      grey: () => plateGrey(grey, this.#index),
      path: () => platePath(this.#plates.path, this.#index),
    });
    for (const [n, view] of this.#views.entries()) {
      this.#readout.follow(
        view,
        this.#graticules.filter((_, other) => other !== n),
      );
    }
    this.#attach();
    this.#restore(true);
    linkViews(this.#views);
    for (const view of this.#views) view.onMove(() => this.#writeAddress());
    await this.#openPanels();
    this.dataset.ready = '';
  }

  async #openPanels(): Promise<void> {
    const state = parseState(location.hash);
    // What the address asks for stays in it while the panels are on their way.
    this.#kept = { finding: state.finding ?? null, net: state.net ?? null };
    const parts = this.#views.map((view) => (view === this.#image.view ? this.#image : this.#drawing!));
    this.#panels = await openPanels({
      element: this,
      root: this.#root,
      parts,
      grid: this.#plates.grid,
      layers: this.#layers,
      colours: this.#colours,
      presentLayers: () => layersAtPlate(this.#layers.plates, this.#layers.layers, this.#index),
      goToPlate: (index) => this.#go(index),
      lookAt: (camera) => leading(this.#views).moveTo(camera, false),
      camera: () => leading(this.#views).camera(),
      announce: (words) => {
        // What a panel says names the layer, too; the depth by itself must not follow over it.
        clearTimeout(this.#announceTimer);
        this.querySelector('[data-announce]')!.textContent = words;
      },
      onPlate: (listener) => this.#plateListeners.push(listener),
      keepInAddress: (part) => {
        this.#kept = { ...this.#kept, ...part };
        this.#writeAddress();
      },
    });
    this.#restorePanels(state);
  }

  /** What the address says of findings and nets; an address without a place is led to the finding's. */
  #restorePanels(state: Partial<ViewState>): void {
    this.#panels?.restore(state.finding ?? null, state.net ?? null, state.xUm === undefined);
  }

  #attach(): void {
    attachControls(this, this.#views, (shown) => {
      setViews(this, this.#views, shown);
      this.#writeAddress();
    });
    this.#column?.attach({
      zUm: this.#plates.z_um,
      present: () => this.#index,
      go: (index) => this.#go(index),
      key: (key) => this.#depthKey(key),
    });
    const act = (name: string, run: () => void): void =>
      this.querySelector(`[data-act="${name}"]`)?.addEventListener('click', run);
    act('layer-up', () => this.#depthKey('PageUp'));
    act('layer-down', () => this.#depthKey('PageDown'));
    act('link', () => this.#copyLink());
    this.querySelector('select[data-act="layer"]')?.addEventListener('change', (event) => {
      const name = (event.target as HTMLSelectElement).value;
      const run = layerRuns(this.#layers.plates).find((one) => one.name === name);
      if (run) this.#go(run.middle);
      else this.#writeWords();
    });
    const again = (): void => {
      if (location.hash === this.#written) return;
      this.#restore(false);
      this.#restorePanels(parseState(location.hash));
    };
    addEventListener('hashchange', again);
    addEventListener('popstate', again);
  }

  /** Everything that the address says; what it does not say stays, or takes its first value. */
  #restore(first: boolean): void {
    const state = parseState(location.hash);
    this.#written = location.hash;
    const shown = this.#drawing ? (state.views ?? (first ? this.#firstViews() : undefined)) : 'image';
    if (shown) {
      this.dataset.show = shown;
      for (const input of this.querySelectorAll<HTMLInputElement>('input[name="views"]')) {
        input.checked = input.value === shown;
      }
    }
    const lead = leading(this.#views);
    const before = first ? lead.whole() : lead.camera();
    const camera = {
      xUm: state.xUm ?? before.xUm,
      yUm: state.yUm ?? before.yUm,
      widthUm: state.widthUm ?? before.widthUm,
    };
    for (const view of this.#views) view.moveTo(camera);
    const start = Number(this.dataset.start ?? 0);
    if (state.zUm !== undefined) this.#go(nearestPlate(this.#plates.z_um, state.zUm));
    else if (first) this.#go(start);
  }

  #firstViews(): Views {
    const value = this.dataset.show;
    return isViews(value) ? value : 'both';
  }

  #depthKey(key: string): boolean {
    const last = this.#plates.z_um.length - 1;
    const labels = this.#layers.plates;
    // Without layers a page of depth is a tenth of the plates.
    const page = (direction: 1 | -1): number =>
      layerRuns(labels).length > 0
        ? nextLayerPlate(labels, this.#index, direction)
        : this.#index + direction * Math.max(1, Math.round(last / 10));
    if (key === 'ArrowUp' || key === 'ArrowRight') this.#go(this.#index + 1);
    else if (key === 'ArrowDown' || key === 'ArrowLeft') this.#go(this.#index - 1);
    else if (key === 'PageUp') this.#go(page(1));
    else if (key === 'PageDown') this.#go(page(-1));
    else if (key === 'Home') this.#go(0);
    else if (key === 'End') this.#go(last);
    else return false;
    return true;
  }

  #go(target: number): void {
    const index = clampPlate(this.#plates.z_um.length, target);
    if (index === this.#index) return;
    this.#direction = this.#index < 0 ? 0 : index > this.#index ? 1 : -1;
    this.#index = index;
    this.dataset.plate = String(index);
    const ahead = platesAhead(this.#plates.z_um.length, index, this.#direction);
    this.#image.plates.show(
      [this.#plate(index)],
      ahead.map((other) => this.#plate(other)),
    );
    this.#showDrawing();
    this.#writeWords();
    this.#readout.refresh();
    this.#writeAddress();
    this.#announce();
    for (const listener of this.#plateListeners) listener();
  }

  #plate(index: number): Wanted {
    const { grid, tiles, path } = this.#plates;
    const root = this.#root;
    return {
      key: `plate ${index}`,
      opacity: 1,
      source: () => new PyramidSource({ grid, tiles, root, path: platePath(path, index) }),
    };
  }

  #render(name: string, opacity: number): Wanted | null {
    const render = this.#pictures?.layers.find((layer) => layer.name === name)?.render;
    if (!render) return null;
    const { grid } = this.#plates;
    const tiles = this.#pictures!.render_tiles;
    const tint = this.#colours[name] ?? '#ffffff';
    const root = this.#root;
    return {
      key: name,
      opacity,
      source: () => new PyramidSource({ grid, tiles, root, path: render.path, tint }),
    };
  }

  #showDrawing(): void {
    if (!this.#drawing) return;
    const near = layersAtPlate(this.#layers.plates, this.#layers.layers, this.#index);
    const wanted = near.flatMap((layer) => this.#render(layer.name, layer.share) ?? []);
    const upward = this.#layers.layers.map((layer) => layer.name);
    const here = near[0] ? upward.indexOf(near[0].name) : -1;
    const next = here < 0 ? [] : [upward[here + 1], upward[here - 1]];
    const ahead = next.flatMap((name) =>
      name && !wanted.some((w) => w.key === name) ? (this.#render(name, 1) ?? []) : [],
    );
    this.#drawing.plates.show(wanted, ahead);
    const names = wanted.map((one) => one.key);
    const faint = near[0] !== undefined && near[0].share < 1;
    const words =
      names.length === 0
        ? 'no layer at this height'
        : faint
          ? `${names.join(' and ')}, nearest, drawn faintly`
          : names.join(' and ');
    this.#note(this.#drawing.pane, words);
  }

  #note(pane: HTMLElement, words: string): void {
    pane.querySelector('[data-note]')!.textContent = words;
  }

  #shown(pane: HTMLElement, keys: readonly string[]): void {
    pane.dataset.shown = keys.join(',');
    if (pane.dataset.view === 'image') this.#note(pane, this.#column ? keys.join(', ') : '');
  }

  #writeWords(): void {
    if (!this.#column) return;
    const label = this.#layers.plates[this.#index];
    const z = this.#plates.z_um[this.#index]!;
    const near = layersAtPlate(this.#layers.plates, this.#layers.layers, this.#index);
    const write = (name: string, words: string): void => {
      this.querySelector(`[data-now="${name}"]`)!.textContent = words;
    };
    write('layer', layerWords(label) ?? `plate ${this.#index}`);
    write('height', `z = ${formatUm(z, this.#decimals)}`);
    write('plate', layerWords(label) ? `plate ${this.#index} of 0–${this.#plates.z_um.length - 1}` : '');
    const swatch = this.querySelector<SVGElement>('[data-now="swatch"]')!;
    const colour = label?.layer ? this.#colours[label.layer] : undefined;
    swatch.setAttribute('fill', colour ?? 'none');
    swatch.parentElement!.toggleAttribute('hidden', colour === undefined);
    const read = this.querySelector('[data-read="z"]');
    if (read) read.textContent = formatUm(z, this.#decimals);
    this.#column.update(
      this.#index,
      plateWords(label, this.#index, z, this.#decimals),
      near.map((layer) => layer.name),
    );
    const select = this.querySelector<HTMLSelectElement>('select[data-act="layer"]');
    if (select) select.value = label?.layer ?? '';
    const page = this.querySelector<HTMLAnchorElement>('[data-layer-page]');
    if (page && near[0]) page.href = `${page.dataset.layerRoot}${near[0].name}/`;
    const labels = this.#layers.plates;
    const bounded = layerRuns(labels).length > 0;
    const stuck = (direction: 1 | -1): boolean =>
      bounded
        ? nextLayerPlate(labels, this.#index, direction) === this.#index
        : this.#index === (direction > 0 ? labels.length - 1 : 0);
    for (const [act, direction] of [
      ['layer-up', 1],
      ['layer-down', -1],
    ] as const) {
      this.querySelector(`[data-act="${act}"]`)?.setAttribute('aria-disabled', String(stuck(direction)));
    }
  }

  /** Says the depth aloud once it rests, where the slider does not say it by itself. */
  #announce(): void {
    if (!this.#column) return;
    clearTimeout(this.#announceTimer);
    this.#announceTimer = window.setTimeout(() => {
      if (document.activeElement?.getAttribute('role') === 'slider') return;
      const z = this.#plates.z_um[this.#index]!;
      const words = plateWords(this.#layers.plates[this.#index], this.#index, z, this.#decimals);
      this.querySelector('[data-announce]')!.textContent = words;
    }, ANNOUNCE_AFTER_MS);
  }

  #address(): string {
    const camera = leading(this.#views).camera();
    const shown = this.dataset.show;
    return encodeState({
      ...camera,
      zUm: this.#plates.z_um[this.#index] ?? 0,
      views: isViews(shown) ? shown : 'image',
      finding: this.#kept.finding ?? undefined,
      net: this.#kept.net ?? undefined,
    });
  }

  #writeAddress(): void {
    if (this.#addressTimer !== 0) return;
    this.#addressTimer = window.setTimeout(() => {
      this.#addressTimer = 0;
      this.#written = this.#address();
      history.replaceState(history.state, '', this.#written);
    }, ADDRESS_EVERY_MS);
  }

  async #copyLink(): Promise<void> {
    const button = this.querySelector('[data-act="link"]')!;
    const words = button.textContent;
    this.#written = this.#address();
    history.replaceState(history.state, '', this.#written);
    const copied = await navigator.clipboard.writeText(location.href).then(
      () => true,
      () => false,
    );
    button.textContent = copied ? 'Link copied' : 'The link is in the address bar';
    this.querySelector('[data-announce]')!.textContent = button.textContent;
    setTimeout(() => {
      button.textContent = words;
    }, 2000);
  }
}

customElements.define('scan-viewer', ScanViewer);
