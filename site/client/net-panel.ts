/** Following a wire: from a click to the whole net, its length, its layers and its ends; finding nets and cells by name. */
import type { Box } from '../../shared/polygon.ts';
import { dieFromEngine } from '../lib/camera.ts';
import { plateOfLayer } from '../lib/finding-place.ts';
import type { Finding } from '../lib/finding-words.ts';
import type { Hit } from '../lib/net-find.ts';
import { nearestOutside } from '../lib/net-shapes.ts';
import { formatLength } from '../lib/numbers.ts';
import type { NetPlace } from '../lib/permalink.ts';
import { attachSearch } from './name-search.ts';
import { type LitNet, NetData } from './net-data.ts';
import { type NetLevel, netLevels, writeNet } from './net-facts.ts';
import { NetOverlay } from './net-overlay.ts';
import type { SidePanels } from './side-panels.ts';
import type { ViewerHost } from './viewer-host.ts';

/** How far off a wire a pointer may be. */
const REACH_PX = 4;
/** A pointer that rests this long asks what lies under it. */
const REST_MS = 90;

export class NetPanel {
  readonly #host: ViewerHost;
  readonly #sides: SidePanels;
  readonly #panel: HTMLElement;
  readonly #data: NetData;
  readonly #overlays: readonly NetOverlay[];
  #net: LitNet | null = null;
  #cell: { name: string; boxes: readonly Box[]; at: number } | null = null;
  #findingsOf: (name: string) => readonly Finding[] = () => [];
  #openFinding: (id: string) => void = () => {};
  #rest = 0;
  #asked = 0;

  static async open(host: ViewerHost, sides: SidePanels, panel: HTMLElement): Promise<NetPanel> {
    return new NetPanel(host, sides, panel, await NetData.open(host.root));
  }

  private constructor(host: ViewerHost, sides: SidePanels, panel: HTMLElement, data: NetData) {
    this.#host = host;
    this.#sides = sides;
    this.#panel = panel;
    this.#data = data;
    this.#overlays = host.parts.map(({ view }) => new NetOverlay(view, host.colours));
    for (const { view } of host.parts) {
      view.onClick((u, v) => this.#click(dieFromEngine(host.grid, u, v), view.umPerPx()));
      const { ground } = view;
      ground.addEventListener('pointermove', (event) => {
        const at = dieFromEngine(host.grid, ...view.pointAt(event));
        clearTimeout(this.#rest);
        this.#rest = window.setTimeout(() => this.#under(at, view.umPerPx()), REST_MS);
      });
      // Between the press and the release of a click there is time to fetch what it will want.
      ground.addEventListener(
        'pointerdown',
        (event) => {
          this.#fetchAhead(dieFromEngine(host.grid, ...view.pointAt(event)), view.umPerPx());
        },
        { capture: true },
      );
      ground.addEventListener('pointerleave', () => {
        clearTimeout(this.#rest);
        this.#writeUnder('–', '–');
      });
    }
    host.onPlate(() => this.#depth());
    attachSearch(
      panel,
      () => data.names(),
      (hit) => this.#choose(hit),
    );
    const act = (name: string, run: () => void): void =>
      panel.querySelector(`[data-act="${name}"]`)?.addEventListener('click', run);
    act('net-off', () => this.light(null));
    act('net-whole', () => this.#lookAtNet());
    act('net-up', () => this.#stepDepth(1));
    act('net-down', () => this.#stepDepth(-1));
    act('cell-next', () => this.#nextCell());
    act('cell-off', () => this.#showCell(null));
    this.#depth();
    this.#write();
  }

  join(findingsOf: (name: string) => readonly Finding[], openFinding: (id: string) => void): void {
    this.#findingsOf = findingsOf;
    this.#openFinding = openFinding;
    this.#write();
  }

  #layersHere(): string[] {
    return this.#host.presentLayers().map((layer) => layer.name);
  }

  async #click([x, y]: readonly [number, number], umPerPx: number): Promise<void> {
    const asked = ++this.#asked;
    const layers = this.#layersHere();
    const found = await this.#data.find(layers, x, y, REACH_PX * umPerPx).catch(() => null);
    if (asked !== this.#asked) return;
    if (!found) {
      this.#host.announce(
        layers.length > 0
          ? `No wire is drawn here on ${layers.join(' or ')}.`
          : 'No layer lies at this depth.',
      );
      return;
    }
    const net = await this.#data.whole(found.net, { layer: found.layer, xUm: x, yUm: y }).catch(() => null);
    if (asked === this.#asked && net) this.light(net);
  }

  /** Lights the net that runs through a place, or none. */
  async atPlace(place: NetPlace | null, open = true): Promise<LitNet | null> {
    const asked = ++this.#asked;
    const found = place && (await this.#data.find([place.layer], place.xUm, place.yUm, 0).catch(() => null));
    const net = found && (await this.#data.whole(found.net, place).catch(() => null));
    if (asked !== this.#asked) return null;
    this.light(net ?? null, open);
    return net ?? null;
  }

  /** The net of a name that touches a place; without a place the first of that name. */
  async byName(name: string, near: Finding | null): Promise<void> {
    if (near) {
      const [x0, y0, x1, y1] = near.box_um;
      const reach = Math.max(x1 - x0, y1 - y0);
      const asked = ++this.#asked;
      const layers = [near.layer, ...this.#data.index.layers.map((layer) => layer.name)];
      for (const [x, y] of [near.centre_um, [x0, y0], [x1, y0], [x0, y1], [x1, y1]] as const) {
        for (const layer of new Set(layers)) {
          const found = await this.#data.find([layer], x, y, reach).catch(() => null);
          if (asked !== this.#asked) return;
          if (found?.net.name !== name) continue;
          const net = await this.#data.whole(found.net, { layer, xUm: x, yUm: y });
          if (asked === this.#asked && net) this.light(net);
          return;
        }
      }
    }
    const { nets } = await this.#data.names();
    const entry = nets.find((one) => one.name === name);
    if (entry) await this.#choose({ what: 'net', net: entry });
    else this.#host.announce(`The net ${name} was not found.`);
  }

  get lit(): LitNet | null {
    return this.#net;
  }

  light(net: LitNet | null, open = true): void {
    this.#net = net;
    this.#host.element.dispatchEvent(new Event('net-lit'));
    for (const overlay of this.#overlays) overlay.light(net, this.#data.index);
    this.#host.element.dataset.net = net?.id ?? '';
    this.#host.keepInAddress({ net: net?.place ?? null });
    if (net) {
      if (open) this.#sides.show('nets');
      this.#host.announce(
        `Net ${net.name}: ${formatLength(net.length_um)} long, ${net.vias} ${net.vias === 1 ? 'via' : 'vias'}, on ${net.layers.length} layers.`,
      );
    }
    this.#write();
  }

  /** What lies under a resting pointer. */
  async #under([x, y]: readonly [number, number], umPerPx: number): Promise<void> {
    const [found, cells] = await Promise.all([
      this.#data.find(this.#layersHere(), x, y, REACH_PX * umPerPx),
      this.#data.cells(x, y),
    ]).catch(() => [null, []] as const);
    this.#writeUnder(found ? found.net.name : '–', cells[0] ? cells[0].path.toReversed().join(' in ') : '–');
    this.#fetchAhead([x, y], umPerPx);
  }

  /** Tile and shapes of the net at a place, so that a click finds them there. */
  async #fetchAhead([x, y]: readonly [number, number], umPerPx: number): Promise<void> {
    const found = await this.#data.find(this.#layersHere(), x, y, REACH_PX * umPerPx).catch(() => null);
    if (found) await this.#data.whole(found.net, { layer: found.layer, xUm: x, yUm: y }).catch(() => null);
  }

  #writeUnder(net: string, cell: string): void {
    for (const [name, words] of [
      ['net', net],
      ['cell', cell],
    ] as const) {
      const place = this.#host.element.querySelector(`[data-read="${name}"]`);
      if (place && place.textContent !== words) place.textContent = words;
    }
  }

  #depth(): void {
    const here = this.#layersHere();
    for (const overlay of this.#overlays) overlay.atDepth(here);
    for (const button of this.#panel.querySelectorAll<HTMLElement>('[data-layers] button')) {
      if (here.includes(button.dataset.layer!)) button.setAttribute('aria-current', 'true');
      else button.removeAttribute('aria-current');
    }
    this.#writeSteps();
  }

  #levels(): NetLevel[] {
    return this.#net ? netLevels(this.#net, this.#data.index) : [];
  }

  /** The next layer of the net in a direction from where the reader is: in a layer, or between two. */
  #next(direction: 1 | -1): string | null {
    const present = this.#host.presentLayers();
    const inside = present.filter((layer) => layer.share === 1);
    const levels = (layers: typeof present): number[] =>
      layers.map((layer) => this.#data.levelOf(layer.name));
    // Between two layers the upper one is the next up, and the lower one the next down.
    const from =
      inside.length > 0
        ? levels(inside)[0]!
        : direction > 0
          ? Math.min(...levels(present))
          : Math.max(...levels(present));
    const net = this.#levels().map(({ name }) => ({ name, level: this.#data.levelOf(name) }));
    const beyond = net.filter(({ name, level }) => {
      const reached = plateOfLayer(this.#host.layers, name) !== null;
      return reached && (direction > 0 ? level > from : level < from);
    });
    return (direction > 0 ? beyond[0] : beyond.at(-1))?.name ?? null;
  }

  #stepDepth(direction: 1 | -1): void {
    const name = this.#next(direction);
    if (name) this.#toLayer(name);
  }

  #toLayer(name: string): void {
    const level = this.#levels().find((one) => one.name === name);
    const plate = plateOfLayer(this.#host.layers, name);
    if (!level || plate === null) return;
    this.#host.goToPlate(plate);
    const camera = this.#host.camera();
    const { view } = this.#host.parts.find((part) => !part.view.hidden) ?? this.#host.parts[0]!;
    const unit = this.#data.index.unit_um;
    const outside = nearestOutside(level.shapes, view.boxUm().map((um) => um / unit) as unknown as Box);
    if (outside) this.#host.lookAt({ ...camera, xUm: outside[0] * unit, yUm: outside[1] * unit });
    this.#host.announce(`${this.#net!.name} on ${name}.`);
  }

  #lookAtNet(): void {
    if (this.#net) this.#lookAtBox(this.#net.box.map((v) => v * this.#data.index.unit_um) as unknown as Box);
  }

  #lookAtBox([x0, y0, x1, y1]: Box): void {
    const { view } = this.#host.parts.find((part) => !part.view.hidden) ?? this.#host.parts[0]!;
    const aspect = view.ground.clientWidth / Math.max(1, view.ground.clientHeight);
    const least = 24 * this.#host.grid.pixel_um;
    this.#host.lookAt({
      xUm: (x0 + x1) / 2,
      yUm: (y0 + y1) / 2,
      widthUm: Math.max(least, 1.25 * Math.max(x1 - x0, (y1 - y0) * aspect)),
    });
  }

  async #choose(hit: Hit): Promise<void> {
    const unit = this.#data.index.unit_um;
    if (hit.what === 'cell') {
      this.#showCell({
        name: hit.cell.name,
        boxes: hit.cell.boxes.map((box) => box.map((v) => v * unit) as unknown as Box),
        at: 0,
      });
      return;
    }
    const { net } = hit;
    const asked = ++this.#asked;
    const layer = this.#data.index.layers[net.layer]!.name;
    const place = { layer, xUm: net.at[0] * unit, yUm: net.at[1] * unit };
    const lit = await this.#data.whole(net, place).catch(() => null);
    if (asked !== this.#asked || !lit) return;
    this.light(lit);
    const plate = plateOfLayer(this.#host.layers, layer);
    if (plate !== null) this.#host.goToPlate(plate);
    this.#lookAtNet();
  }

  #showCell(cell: { name: string; boxes: readonly Box[]; at: number } | null): void {
    this.#cell = cell;
    for (const overlay of this.#overlays) overlay.outline(cell?.boxes ?? []);
    const box = cell?.boxes[cell.at];
    if (cell && box) {
      this.#lookAtBox(box);
      this.#host.announce(`Cell ${cell.name}, place ${cell.at + 1} of ${cell.boxes.length}.`);
    }
    this.#write();
  }

  #nextCell(): void {
    const cell = this.#cell;
    if (cell) this.#showCell({ ...cell, at: (cell.at + 1) % cell.boxes.length });
  }

  #writeSteps(): void {
    for (const [act, direction] of [
      ['net-up', 1],
      ['net-down', -1],
    ] as const) {
      const stuck = this.#net === null || this.#next(direction) === null;
      this.#panel.querySelector(`[data-act="${act}"]`)?.setAttribute('aria-disabled', String(stuck));
    }
  }

  #write(): void {
    const net = this.#net;
    const at = (name: string): HTMLElement => this.#panel.querySelector<HTMLElement>(`[data-n="${name}"]`)!;
    at('none').hidden = net !== null || this.#cell !== null;
    at('cell').hidden = this.#cell === null;
    if (this.#cell) {
      at('cell-words').textContent =
        `${this.#cell.name}: place ${this.#cell.at + 1} of ${this.#cell.boxes.length}`;
      this.#panel.querySelector<HTMLElement>('[data-act="cell-next"]')!.hidden = this.#cell.boxes.length < 2;
    }
    at('one').hidden = net === null;
    if (!net) return;
    writeNet(this.#panel, net, {
      index: this.#data.index,
      layers: this.#host.layers,
      findings: this.#findingsOf(net.name),
      toLayer: (name) => this.#toLayer(name),
      toEnd: (layer, xUm, yUm) => this.#toEnd(layer, xUm, yUm),
      openFinding: (id) => this.#openFinding(id),
    });
    this.#depth();
  }

  #toEnd(layer: string, xUm: number, yUm: number): void {
    const plate = plateOfLayer(this.#host.layers, layer);
    if (plate !== null) this.#host.goToPlate(plate);
    this.#host.lookAt({ ...this.#host.camera(), xUm, yUm });
  }
}
