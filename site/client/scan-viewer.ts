/** The viewer of one scan: joins depth, pictures, readout, panels and address. */
import { plateGrey, platePath } from '../../shared/plate-path.ts';
import { dieFromEngine } from '../lib/camera.ts';
import { clampPlate, layerRuns, layersAtPlate, nearestPlate } from '../lib/depth.ts';
import { type KeptParts, parseState, type ViewState, type Views } from '../lib/permalink.ts';
import { AddressKeeper } from './address-keeper.ts';
// The import alone defines the element; the type is only a name.
import './depth-column.ts';
import { Comparison } from './comparison.ts';
import type { DepthColumn } from './depth-column.ts';
import { isJump, plateForKey } from './depth-keys.ts';
import { DepthWords } from './depth-words.ts';
import { attachDropBoxes } from './drop-boxes.ts';
import { attachFullScreen } from './full-screen.ts';
import { Graticule } from './graticule.ts';
import { GreyLevels } from './grey-levels.ts';
import { nextTask } from './next-task.ts';
import { OtherScans } from './other-scans.ts';
import { Overview } from './overview.ts';
import { attachControls, isViews, leading, setViews } from './pane-controls.ts';
import { LinkedViews, PictureView } from './picture-view.ts';
import { Probe } from './probe.ts';
import { Readout } from './readout.ts';
import { openScanData, type ScanData } from './scan-data.ts';
import { ScanDrawing } from './scan-drawing.ts';
import { ScanImage } from './scan-image.ts';
import { SolidMode } from './solid-mode.ts';
import { openPanels, type Panels } from './viewer-panels.ts';
import type { PickedPlace, ScanViewerElement, ViewerPlace } from './viewer-place.ts';

/** Each part may be missing. */
type Loose<T> = { readonly [K in keyof T]?: T[K] | undefined };

class ScanViewer extends HTMLElement implements ScanViewerElement {
  #data!: ScanData;
  #colours: Record<string, string> = {};
  #index = -1;
  #views = new LinkedViews([]);
  #image!: ScanImage;
  #drawing: ScanDrawing | null = null;
  #others: OtherScans | null = null;
  #comparison: Comparison | null = null;
  #solid: SolidMode | null = null;
  #levels!: GreyLevels;
  #overview!: Overview;
  #readout!: Readout;
  #column: DepthColumn | null = null;
  #words: DepthWords | null = null;
  #address!: AddressKeeper;
  #plateListeners: (() => void)[] = [];
  #panels: Panels | null = null;
  #kept: KeptParts = {};

  /** Pictures that both engines hold now, for watching that it stays bounded. */
  get held(): number {
    return this.#image.held + (this.#drawing?.held ?? 0) + (this.#others?.held ?? 0);
  }

  /** Goes to a place as a step that the reader can take back. */
  goTo(place: ViewerPlace): void {
    const { plate, zUm, xUm, yUm, widthUm, show } = place;
    this.#address.step(() => {
      const heights = this.#data.plates.z_um;
      const z = plate === undefined ? zUm : heights[clampPlate(heights.length, plate)];
      this.#restore({ views: show, zUm: z, xUm, yUm, widthUm }, false);
    });
  }

  async connectedCallback(): Promise<void> {
    this.#colours = JSON.parse(this.dataset.colours ?? '{}');
    this.#data = await openScanData(this.dataset.root ?? '', this.dataset.drawing === 'yes');
    this.#column = this.querySelector<DepthColumn>('depth-column');
    if (this.#column) this.#words = new DepthWords(this, this.#data, this.#colours, this.#column);
    for (const pane of this.querySelectorAll<HTMLElement>(
      '.pane:not([data-view="other"], [data-view="solid"])',
    )) {
      await nextTask();
      this.#openPane(pane);
    }
    await nextTask();
    this.#openOthers();
    if (this.querySelector('.pane[data-view="solid"]')) this.#openSolid();
    this.#follow();
    this.#address = new AddressKeeper(
      () => this.#state(),
      (state) => {
        this.#restore(state, false);
        this.#restorePanels(state);
      },
    );
    this.#attach();
    this.#restore(parseState(location.hash), true);
    await nextTask();
    this.#views.onMove(() => this.#address.write());
    await this.#openPanels();
    this.dataset.ready = '';
    this.dispatchEvent(new CustomEvent('viewer-ready', { bubbles: true }));
  }

  /** What a picture does with wheel and keys of depth. */
  #hands() {
    const column = this.#column;
    return {
      onDepthWheel: column ? (event: WheelEvent) => column.wheel(event) : undefined,
      onDepthKey: column ? (key: string) => isJump(key) && this.#depthKey(key) : undefined,
    };
  }

  #openPane(pane: HTMLElement): void {
    const ground = pane.querySelector<HTMLElement>('.ground')!;
    const view = new PictureView({
      ...{ ground, grid: this.#data.plates.grid, wheelZooms: true },
      ...this.#hands(),
    });
    this.#views.add(view);
    view.onClick((u, v) => this.#picked(...dieFromEngine(view.grid, u, v)));
    if (pane.dataset.view === 'image') {
      this.#image = new ScanImage(view, pane, this.#data, this.dataset.brick === 'yes');
      this.#image.onPicture(() => {
        if (this.#column && pane.dataset.shown) this.#image.note(pane.dataset.shown);
        this.#levels.refit();
      });
      this.#levels = new GreyLevels(this, view, () => this.#address.write());
      this.#overview = new Overview(this.#image);
    } else this.#drawing = new ScanDrawing(view, pane, this.#data, this.#colours);
  }

  #openOthers(): void {
    if (this.querySelector('.wipe-edge')) {
      this.#comparison = new Comparison(this, () => this.#address.write());
    }
    if (!this.querySelector('.pane[data-view="other"]')) return;
    this.#others = new OtherScans({
      host: this,
      hands: this.#hands(),
      onOpen: ({ image, graticule }) => {
        const { view } = image;
        const lead = leading(this.#views.all).camera();
        this.#readout.follow(view, graticule);
        this.#views.add(view);
        view.moveTo(lead);
        view.onClick((u, v) => this.#picked(...dieFromEngine(view.grid, u, v)));
      },
    });
    this.querySelector('select[data-act="against"]')!.addEventListener('change', (event) => {
      const { value } = event.target as HTMLSelectElement;
      this.#address.step(() => this.#against(value === '' ? null : value));
    });
  }

  #openSolid(): void {
    this.#kept = { extras: parseState(location.hash).extras ?? {} };
    this.#solid = new SolidMode(
      {
        ...{ element: this, root: this.#data.root, plates: this.#data.plates, colours: this.#colours },
        ...{ image: this.#image, onDepthKey: this.#hands().onDepthKey, plate: () => this.#index },
        camera: () => leading(this.#views.all).camera(),
        lit: () => this.#panels?.lit() ?? null,
        announce: (words) => this.#say(words),
        keep: (extras) => this.#keep({ extras }),
      },
      () => this.#kept.extras ?? {},
    );
    this.addEventListener('net-lit', () => this.#solid?.view?.enter());
  }

  #say(words: string): void {
    this.#words?.hush();
    this.querySelector('[data-announce]')!.textContent = words;
  }

  #keep(part: KeptParts): void {
    this.#kept = { ...this.#kept, ...part, extras: { ...this.#kept.extras, ...part.extras } };
    this.#address.write();
  }

  /** @param id null for the drawing, or for the first other scan where there is none */
  #against(id: string | null): void {
    const first = this.querySelector<HTMLElement>('.pane[data-view="other"]')?.dataset.scan ?? null;
    this.#others?.choose(id ?? (this.#drawing ? null : first));
    this.#others?.show(this.#data.plates.z_um[this.#index] ?? 0);
  }

  #picked(xUm: number, yUm: number): void {
    const { plates, layers } = this.#data;
    const detail: PickedPlace = {
      ...{ xUm, yUm, zUm: plates.z_um[this.#index]!, plate: this.#index },
      layers: layersAtPlate(layers.plates, layers.layers, this.#index).map((layer) => layer.name),
    };
    this.dispatchEvent(new CustomEvent('place-picked', { bubbles: true, detail }));
  }

  /** Coordinates and values under the pointer, in every view. */
  #follow(): void {
    const { grid, tiles, grey, path } = this.#data.plates;
    this.#readout = new Readout(this, grid, {
      probe: new Probe(this.#data.root, grid, tiles),
      grey: () => plateGrey(grey, this.#index),
      path: () => platePath(path, this.#index),
    });
    for (const view of this.#views.all) this.#readout.follow(view, new Graticule(view));
  }

  async #openPanels(): Promise<void> {
    const state = parseState(location.hash);
    // What the address asks for stays in it while the panels are on their way.
    this.#kept = { finding: state.finding ?? null, net: state.net ?? null, extras: state.extras ?? {} };
    const { plates, layers, root } = this.#data;
    this.#panels = await openPanels({
      element: this,
      root,
      parts: [this.#image, ...(this.#drawing ? [this.#drawing] : [])],
      grid: plates.grid,
      plates,
      layers,
      colours: this.#colours,
      plate: () => this.#index,
      presentLayers: () => layersAtPlate(layers.plates, layers.layers, this.#index),
      goToPlate: (index) => this.#address.step(() => this.#go(index)),
      lookAt: (camera) => {
        // A panel may just have opened beside the views; a size taken up on the way there would end the way.
        for (const view of this.#views.all) view.measure();
        leading(this.#views.all).moveTo(camera, false);
      },
      camera: () => leading(this.#views.all).camera(),
      announce: (words) => this.#say(words),
      onPlate: (listener) => this.#plateListeners.push(listener),
      keepInAddress: (part) => this.#keep(part),
    });
    this.#restorePanels(state);
  }

  /** What the address says of findings and nets; an address without a place is led to the finding's. */
  #restorePanels(state: Partial<ViewState>): void {
    this.#panels?.restore(state.finding ?? null, state.net ?? null, state.xUm === undefined);
  }

  #attach(): void {
    attachControls(
      this,
      () => this.#solid?.view ?? leading(this.#views.all),
      (shown) => this.#address.step(() => this.#layOut(shown)),
    );
    attachDropBoxes(this);
    attachFullScreen(this, this.querySelector<HTMLElement>('[data-act="fullscreen"]'));
    this.#column?.attach({
      zUm: this.#data.plates.z_um,
      present: () => this.#index,
      go: (index) => this.#go(index),
      key: (key) => this.#depthKey(key),
    });
    const act = (name: string, run: () => void): void =>
      this.querySelector(`[data-act="${name}"]`)?.addEventListener('click', run);
    act('layer-up', () => this.#depthKey('PageUp'));
    act('layer-down', () => this.#depthKey('PageDown'));
    act('link', () => this.#copyLink());
    act('map', () => {
      this.#mapWanted(!this.#overview.wanted);
      this.#address.write();
    });
    this.querySelector('select[data-act="layer"]')?.addEventListener('change', (event) => {
      const name = (event.target as HTMLSelectElement).value;
      const run = layerRuns(this.#data.layers.plates).find((one) => one.name === name);
      if (run) this.#address.step(() => this.#go(run.middle));
      else this.#words?.write(this.#index);
    });
  }

  /** Everything that the address says; what it does not say stays, or takes its first value. */
  #restore(state: Loose<ViewState>, first: boolean): void {
    const pair = this.#comparison !== null;
    const shown = pair ? (state.views ?? (first ? this.#firstViews() : undefined)) : 'image';
    this.#against(state.against ?? null);
    if (shown) this.#layOut(shown);
    if (this.#comparison && state.mix !== undefined) this.#comparison.mix = state.mix;
    this.#levels.restore(state.levels);
    this.#mapWanted(!state.noMap);
    const lead = leading(this.#views.all);
    const before = first ? lead.whole() : lead.camera();
    const camera = {
      xUm: state.xUm ?? before.xUm,
      yUm: state.yUm ?? before.yUm,
      widthUm: state.widthUm ?? before.widthUm,
    };
    for (const view of this.#views.all) view.moveTo(camera);
    const start = Number(this.dataset.start ?? 0);
    if (state.zUm !== undefined) this.#go(nearestPlate(this.#data.plates.z_um, state.zUm));
    else if (first) this.#go(start);
  }

  #layOut(shown: Views): void {
    setViews(this, this.#views.all, shown);
    this.#comparison?.enter(shown);
    const controls = this.querySelector<HTMLElement>('.solid-controls');
    if (controls) controls.hidden = shown !== 'solid';
    if (shown === 'solid') this.#solid?.enter();
  }

  #mapWanted(wanted: boolean): void {
    this.#overview.wanted = wanted;
    this.querySelector('[data-act="map"]')?.setAttribute('aria-pressed', String(wanted));
  }

  #firstViews(): Views {
    const value = this.dataset.show;
    return isViews(value) ? value : 'both';
  }

  #depthKey(key: string): boolean {
    const target = plateForKey(key, this.#data.layers.plates, this.#index);
    if (target === null) return false;
    if (isJump(key)) this.#address.step(() => this.#go(target));
    else this.#go(target);
    return true;
  }

  #go(target: number): void {
    const index = clampPlate(this.#data.plates.z_um.length, target);
    if (index === this.#index) return;
    this.#index = index;
    this.dataset.plate = String(index);
    this.#image.show(index);
    this.#drawing?.show(index);
    this.#others?.show(this.#data.plates.z_um[index]!);
    this.#solid?.view?.plateChanged();
    this.#words?.write(index);
    this.#words?.announce(index);
    this.#readout.refresh();
    this.#address.write();
    for (const listener of this.#plateListeners) listener();
  }

  #state(): ViewState {
    const shown = this.dataset.show;
    const { finding, net, extras } = this.#kept;
    return {
      ...leading(this.#views.all).camera(),
      zUm: this.#data.plates.z_um[this.#index] ?? 0,
      views: isViews(shown) ? shown : 'image',
      against: this.#others?.chosen ?? undefined,
      mix: shown === 'wipe' || shown === 'blend' ? this.#comparison?.mix : undefined,
      levels: this.#levels.state,
      noMap: !this.#overview.wanted,
      finding: finding ?? undefined,
      net: net ?? undefined,
      extras,
    };
  }

  async #copyLink(): Promise<void> {
    const button = this.querySelector('[data-act="link"]')!;
    const words = button.textContent;
    this.#address.flush();
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
