/** The vertical section under the pictures: cut at once from the brick, sharpened from full tiles, heights to scale. */
import { heightDecimals, plateWords } from '../../lib/depth.ts';
import type { PointUm } from '../../lib/measuring/reading.ts';
import { formatFixed, formatLength } from '../../lib/numbers.ts';
import { roundTicks, tickLabel } from '../../lib/scale-bar.ts';
import {
  cutBrick,
  type PlanePoint,
  placeInSection,
  pointInSection,
  type Section,
  type SectionView,
  sectionView,
  sectionWindow,
  stretchOf,
} from '../../lib/section.ts';
import type { Hold, Surface } from '../measure/surface.ts';
import { oncePerFrame } from '../once-per-frame.ts';
import { make } from '../svg-element.ts';
import type { ViewerHost } from '../viewer-host.ts';
import type { BrickPlanes } from './brick-planes.ts';
import type { PlateColumns } from './plate-columns.ts';

/** Places cut from a brick: as fine as a wide screen. */
const PLACES = 800;
/** A point further than this from the cut does not lie on it, in shares of the length of the section. */
const BESIDE = 0.01;
/** Fewer tiles than this are fetched without being asked for. */
const UNASKED_TILES = 240;

const scaleWords = (stretch: number): string =>
  Math.abs(stretch - 1) < 0.01
    ? 'true scale'
    : stretch > 1
      ? `heights stretched ${formatFixed(stretch, 1)} times`
      : `lengths stretched ${formatFixed(1 / stretch, 1)} times`;

export class SectionStrip {
  readonly #host: ViewerHost;
  readonly #brick: BrickPlanes;
  readonly #columns: PlateColumns;
  readonly #box: HTMLElement;
  readonly #ground: HTMLElement;
  readonly #canvas: HTMLCanvasElement;
  readonly #axes: SVGElement;
  readonly #picture = document.createElement('canvas');
  #section: Section | null = null;
  #view: SectionView | null = null;
  #trueScale = false;
  #run = 0;
  #listeners: (() => void)[] = [];
  #hold: Hold | null = null;
  #onClosed: () => void = () => {};

  constructor(host: ViewerHost, box: HTMLElement, brick: BrickPlanes, columns: PlateColumns) {
    this.#host = host;
    this.#box = box;
    this.#brick = brick;
    this.#columns = columns;
    this.#ground = box.querySelector<HTMLElement>('.section-ground')!;
    this.#canvas = document.createElement('canvas');
    this.#canvas.setAttribute('aria-hidden', 'true');
    this.#axes = make('svg', { class: 'section-axes', 'aria-hidden': 'true', width: '100%', height: '100%' });
    this.#ground.append(this.#canvas, this.#axes);
    host.onPlate(() => this.refresh());
    new ResizeObserver(() => this.refresh()).observe(this.#ground);
    const act = (name: string, run: () => void): void =>
      box.querySelector(`[data-act="${name}"]`)?.addEventListener('click', run);
    act('section-close', () => this.close());
    act('section-scale', () => this.#setScale(!this.#trueScale));
    act('section-sharpen', () => this.#sharpen());
    this.#ground.addEventListener('keydown', (event) => {
      if (this.#hold?.key(event)) event.preventDefault();
      else if (event.key === 'Escape') this.close();
    });
    this.#ground.addEventListener('click', (event) => this.#click(event));
  }

  get line(): readonly [PlanePoint, PlanePoint] | null {
    return this.#section && [this.#section.from, this.#section.to];
  }

  /** What is seen now, for a figure; null while closed. */
  get shown(): { canvas: HTMLCanvasElement; view: SectionView; section: Section } | null {
    return this.#box.hidden || !this.#section || !this.#view
      ? null
      : { canvas: this.#picture, view: this.#view, section: this.#section };
  }

  onClosed(listener: () => void): void {
    this.#onClosed = listener;
  }

  close(): void {
    this.#run++;
    this.#section = null;
    this.#box.hidden = true;
    this.#onClosed();
  }

  #setScale(on: boolean): void {
    this.#trueScale = on;
    this.#box.querySelector('[data-act="section-scale"]')!.setAttribute('aria-pressed', String(on));
    this.refresh();
  }

  /** Cuts along a line; shown from the brick in the same frame once its sheets are there. */
  async cut(from: PlanePoint, to: PlanePoint): Promise<void> {
    const run = ++this.#run;
    this.#box.hidden = false;
    const show = (): void => {
      if (run !== this.#run) return;
      const began = performance.now();
      this.#take(cutBrick(this.#brick.brick, (n) => this.#brick.plane(n), from, to, PLACES));
      this.#box.dataset.cutMs = (performance.now() - began).toFixed(1);
    };
    const length = Math.hypot(to[0] - from[0], to[1] - from[1]);
    this.#write(
      'words',
      `${formatLength(length)} long, from X ${formatFixed(from[0], 2)}, Y ${formatFixed(from[1], 2)} to X ${formatFixed(to[0], 2)}, Y ${formatFixed(to[1], 2)} µm`,
    );
    this.#write('from', 'from the brick');
    show();
    await this.#brick.load(show);
    if (run !== this.#run) return;
    show();
    this.#box.dataset.ready = '';
    const tiles = this.#columns.tilesPerPlate(from, to) * this.#host.plates.z_um.length;
    if (tiles <= UNASKED_TILES) await this.#sharpen();
  }

  async #sharpen(): Promise<void> {
    const section = this.#section;
    if (!section) return;
    const run = ++this.#run;
    let come = 0;
    const all = this.#host.plates.z_um.length;
    const refined = await this.#columns
      .refine(section, this.#host.plate(), (so) => {
        if (run !== this.#run) return true;
        come++;
        this.#write('from', `full tiles: ${come} of ${all} plates`);
        if (come % 8 === 0 || come === all) this.#take(so);
        return false;
      })
      .catch(() => null);
    if (run !== this.#run) return;
    if (!refined) this.#write('from', 'some full tiles could not be loaded; the rest is from the brick');
    else this.#write('from', 'from full tiles');
  }

  #write(name: string, words: string): void {
    this.#box.querySelector(`[data-s="${name}"]`)!.textContent = words;
  }

  #take(section: Section): void {
    this.#section = section;
    const { black, white } = sectionWindow(section);
    const { places, zUm, values } = section;
    this.#picture.width = places;
    this.#picture.height = zUm.length;
    const context = this.#picture.getContext('2d')!;
    const image = context.createImageData(places, zUm.length);
    for (let n = 0; n < zUm.length; n++)
      for (let at = 0; at < places; at++) {
        // Row 0 of the picture is the highest plate.
        const to = 4 * ((zUm.length - 1 - n) * places + at);
        const value = values[n * places + at]!;
        const none = Number.isNaN(value);
        const grey = none ? 0 : (255 * (value - black)) / (white - black);
        image.data[to] = grey;
        image.data[to + 1] = grey;
        image.data[to + 2] = grey;
        image.data[to + 3] = none ? 0 : 255;
      }
    context.putImageData(image, 0, 0);
    this.#draw();
  }

  /** Draws once per frame, however often it is asked. */
  readonly refresh = oncePerFrame(() => this.#draw());

  #draw(): void {
    const section = this.#section;
    const { clientWidth: width, clientHeight: height } = this.#ground;
    if (!section || width === 0 || height === 0) return;
    const half = this.#host.plates.step_um / 2;
    const heights = [section.zUm[0]! - half, section.zUm.at(-1)! + half] as const;
    const length = Math.hypot(section.to[0] - section.from[0], section.to[1] - section.from[1]);
    const view = sectionView({ width, height }, length, heights, this.#trueScale);
    this.#view = view;
    const ratio = Math.min(2, devicePixelRatio || 1);
    this.#canvas.width = Math.round(width * ratio);
    this.#canvas.height = Math.round(height * ratio);
    const context = this.#canvas.getContext('2d')!;
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    context.imageSmoothingEnabled = true;
    context.drawImage(this.#picture, view.left, view.top, view.width, view.height);
    this.#drawAxes(view);
    const stretch = stretchOf(view);
    this.#write('scale', scaleWords(stretch));
    for (const listener of this.#listeners) listener();
  }

  #drawAxes(view: SectionView): void {
    const parts: SVGElement[] = [];
    let last = Infinity;
    for (const layer of this.#host.layers.layers) {
      if (layer.top_um < view.lowUm || layer.bottom_um > view.highUm) continue;
      const [, top] = placeInSection(view, 0, Math.min(view.highUm, layer.top_um));
      const [, bottom] = placeInSection(view, 0, Math.max(view.lowUm, layer.bottom_um));
      const colour = this.#host.colours[layer.name] ?? '#a9adb3';
      parts.push(
        make('rect', { x: view.left - 5, y: top, width: 4, height: Math.max(1, bottom - top), fill: colour }),
      );
      for (const y of [top, bottom])
        parts.push(make('line', { class: 'face', x1: view.left, x2: view.left + view.width, y1: y, y2: y }));
      const middle = (top + bottom) / 2;
      // Names that would lie on one another are left to the next.
      if (last - middle < 11) continue;
      last = middle;
      parts.push(make('text', { x: view.left - 8, y: middle + 3.5, 'text-anchor': 'end' }, layer.name));
    }
    const ticks = roundTicks(0, view.lengthUm, Math.max(3, Math.floor(view.width / 90)));
    for (const v of ticks.values) {
      const [x, y] = placeInSection(view, v, view.lowUm);
      parts.push(make('line', { class: 'tick', x1: x, x2: x, y1: y, y2: y + 5 }));
      const words = tickLabel(v, ticks.decimals) + (v === 0 ? ' µm' : '');
      parts.push(make('text', { x, y: y + 16, 'text-anchor': 'middle' }, words));
    }
    const heights = roundTicks(view.lowUm, view.highUm, Math.max(3, Math.floor(view.height / 32)));
    const right = view.left + view.width;
    for (const v of heights.values) {
      const [, y] = placeInSection(view, 0, v);
      parts.push(make('line', { class: 'tick', x1: right, x2: right + 5, y1: y, y2: y }));
      parts.push(make('text', { x: right + 8, y: y + 3.5 }, tickLabel(v, heights.decimals)));
    }
    const z = this.#host.plates.z_um[this.#host.plate()]!;
    const [, present] = placeInSection(view, 0, z);
    parts.push(
      make('line', { class: 'present', x1: view.left, x2: view.left + view.width, y1: present, y2: present }),
    );
    this.#axes.replaceChildren(...parts);
    const { plates, layers } = this.#host;
    const words = plateWords(
      layers.plates[this.#host.plate()],
      this.#host.plate(),
      z,
      heightDecimals(plates.step_um),
    );
    this.#axes.dataset.present = words;
  }

  #click(event: MouseEvent): void {
    const box = this.#ground.getBoundingClientRect();
    const point = this.#pointAt(event.clientX - box.left, event.clientY - box.top);
    if (this.#hold) this.#hold.put(point);
  }

  #pointAt(x: number, y: number): PointUm {
    const section = this.#section;
    if (!section || !this.#view) return [0, 0, 0];
    const [along, z] = pointInSection(this.#view, x, y);
    const share = along / this.#view.lengthUm;
    const [from, to] = [section.from, section.to];
    return [from[0] + (to[0] - from[0]) * share, from[1] + (to[1] - from[1]) * share, z];
  }

  /** For tools: points are put here as they are on plates. */
  get surface(): Surface {
    return {
      kind: 'section',
      element: this.#ground,
      hidden: () => this.#box.hidden !== false || !this.#section,
      place: ([x, y, z]) => {
        const section = this.#section;
        if (!section || !this.#view) return null;
        const { lengthUm } = this.#view;
        const u = [
          (section.to[0] - section.from[0]) / lengthUm,
          (section.to[1] - section.from[1]) / lengthUm,
        ] as const;
        const d = [x - section.from[0], y - section.from[1]] as const;
        const beside = Math.abs(d[0] * u[1] - d[1] * u[0]);
        if (beside > BESIDE * lengthUm) return null;
        return placeInSection(this.#view, d[0] * u[0] + d[1] * u[1], z);
      },
      pointAt: (x, y) => this.#pointAt(x, y),
      pointingUm: () => {
        const view = this.#view;
        const screen = view
          ? Math.max(view.lengthUm / view.width, (view.highUm - view.lowUm) / view.height)
          : 0;
        return Math.max(screen, this.#host.plates.step_um);
      },
      hold: (hold) => {
        this.#hold = hold;
        this.#ground.classList.toggle('claimed', hold !== null);
      },
      bringIn: () => {},
      onRedraw: (listener) => this.#listeners.push(listener),
    };
  }
}
