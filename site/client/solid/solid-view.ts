/** Drawn layers as solids at their measured heights, the imaged plate as a plane through them. */
import type { Plates } from '../../../shared/artefacts/plates.ts';
import { dieFromPixel, pixelFromDie } from '../../../shared/frames.ts';
import { platePath } from '../../../shared/plate-path.ts';
import { type Box, intersectBox } from '../../../shared/polygon.ts';
import type { Camera } from '../../lib/camera.ts';
import { extrude, type Mesh } from '../../lib/extrude.ts';
import { formatCount, formatFixed } from '../../lib/numbers.ts';
import { lift, projection, type SolidCamera, sane } from '../../lib/solid-camera.ts';
import { type LitNet, NetData } from '../net-data.ts';
import { oncePerFrame } from '../once-per-frame.ts';
import type { ScanImage } from '../scan-image.ts';
import { type PixelRectangle, TileCrop } from '../tile-crop.ts';
import { SolidHands } from './solid-hands.ts';
import { drawLabels } from './solid-labels.ts';
import { SolidRenderer } from './solid-renderer.ts';
import { gatherShapes, middleOf, relative, type SolidShapes } from './solid-shapes.ts';

export interface SolidHost {
  readonly element: HTMLElement;
  readonly root: string;
  readonly plates: Plates;
  readonly colours: Readonly<Record<string, string>>;
  readonly image: ScanImage;
  readonly plate: () => number;
  /** What the flat views show; the solids are of the same place. */
  readonly camera: () => Camera;
  readonly lit: () => LitNet | null;
  readonly announce: (words: string) => void;
  /** Depth keys over the picture; true where the key was used. */
  readonly onDepthKey: ((key: string) => boolean) | undefined;
  readonly keep: (extras: Record<string, string>) => void;
}

/** Layers moved apart at most by this share of the larger side of the window. */
const WIDEST_GAP = 0.16;
const FIRST: Pick<SolidCamera, 'turnDeg' | 'tiltDeg'> = { turnDeg: -28, tiltDeg: 34 };
/** A crop of more pixels is not fetched: the plate in small has to do. */
const MOST_PX = 1400;
const REST_MS = 180;
const NAMES_PX = 72;

export class SolidView {
  readonly #host: SolidHost;
  readonly #pane: HTMLElement;
  readonly #canvas: HTMLCanvasElement;
  readonly #renderer: SolidRenderer;
  readonly #data: NetData;
  readonly #crop: TileCrop;
  #shapes: SolidShapes | null = null;
  #meshes: readonly Mesh[] = [];
  #plane: { box: Box } | null = null;
  #camera: SolidCamera = { ...FIRST, halfUm: 1 };
  #entered = '';
  #asked = 0;
  #rest = 0;

  /** @throws Error with words for the reader where it cannot be had */
  static async open(host: SolidHost): Promise<SolidView> {
    const canvas = host.element.querySelector<HTMLCanvasElement>('.pane[data-view="solid"] canvas')!;
    const renderer = SolidRenderer.open(canvas);
    if (!renderer) {
      throw new Error(
        'This browser offers no WebGL 2, which this view needs. The flat views show the same layers.',
      );
    }
    return new SolidView(host, canvas, renderer, await NetData.open(host.root));
  }

  private constructor(host: SolidHost, canvas: HTMLCanvasElement, renderer: SolidRenderer, data: NetData) {
    this.#host = host;
    this.#canvas = canvas;
    this.#renderer = renderer;
    this.#data = data;
    this.#pane = canvas.closest<HTMLElement>('.pane')!;
    this.#crop = new TileCrop(host.root, host.plates.grid);
    new SolidHands(this.#ground, {
      camera: () => this.#camera,
      look: (camera) => this.#look(camera),
      whole: () => this.showWhole(),
      depthKey: host.onDepthKey,
    });
    for (const name of ['apart', 'plate', 'alone']) {
      this.#input(name).addEventListener('input', () => this.#changed(name));
    }
    this.#controls.querySelector('[data-act="solid-save"]')!.addEventListener('click', () => this.#save());
    // The plate may come later than the solids.
    host.image.onPicture(() => {
      if (!this.#plane) this.plateChanged();
    });
    new ResizeObserver(() => this.#redraw()).observe(this.#ground);
    canvas.addEventListener('webglcontextlost', (event) => {
      event.preventDefault();
      this.#note('The graphics card was taken away; leave this view and come back to draw it again.');
    });
    canvas.addEventListener('webglcontextrestored', () => location.reload());
  }

  get #ground(): HTMLElement {
    return this.#pane.querySelector<HTMLElement>('.solid-ground')!;
  }

  get #controls(): HTMLElement {
    return this.#host.element.querySelector<HTMLElement>('.solid-controls')!;
  }

  #input(name: string): HTMLInputElement {
    return this.#controls.querySelector<HTMLInputElement>(`input[name="${name}"]`)!;
  }

  #note(words: string): void {
    this.#pane.querySelector('[data-note]')!.textContent = words;
  }

  /** Takes up what the address says: "turn" and "apart". */
  restore(extras: Readonly<Record<string, string>>): void {
    const [turnDeg, tiltDeg] = (extras.turn ?? '').split(',').map(Number);
    if (Number.isFinite(turnDeg) && Number.isFinite(tiltDeg)) {
      this.#camera = sane({ ...this.#camera, turnDeg: turnDeg!, tiltDeg: tiltDeg! });
    }
    const apart = Number(extras.apart ?? 'NaN');
    if (Number.isFinite(apart)) this.#input('apart').value = String(Math.min(100, Math.max(0, apart)));
    this.#redraw();
  }

  /** Shows the window that the flat views have; called whenever this view is chosen. */
  async enter(): Promise<void> {
    const lit = this.#host.lit();
    const alone = this.#input('alone');
    alone.disabled = lit === null;
    if (lit === null) alone.checked = false;
    const net = alone.checked ? lit : null;
    const window = this.#window();
    const key = JSON.stringify([window, net?.id]);
    if (key === this.#entered) {
      this.#redraw();
      return;
    }
    this.#entered = key;
    const asked = ++this.#asked;
    this.#note('fetching the drawn shapes');
    const shapes = await gatherShapes(this.#data, window, net).catch(() => null);
    if (asked !== this.#asked) return;
    if (!shapes) {
      this.#entered = '';
      this.#note('the drawn shapes could not be loaded');
      return;
    }
    this.#renderer.clear();
    this.#shapes = shapes;
    const outer = relative(shapes.windowUm, shapes.windowUm);
    this.#meshes = shapes.layers.map((layer, n) => {
      const span = this.#data.index.layers[n]!;
      return extrude(layer, span.bottom_um, span.top_um, outer);
    });
    this.#camera = { ...this.#camera, halfUm: this.#wholeHalf() };
    this.#say(net);
    this.plateChanged();
    this.#pane.dataset.shapes = String(shapes.count);
  }

  #say(net: LitNet | null): void {
    const { windowUm, count, shrunk } = this.#shapes!;
    const [w, h] = [windowUm[2] - windowUm[0], windowUm[3] - windowUm[1]];
    const what = net ? `net ${net.name}, ` : '';
    const part = shrunk ? ', the middle of the view: all of it would be too much' : '';
    this.#note(
      `${what}${formatCount(count)} drawn shapes, ${formatFixed(w, 1)} by ${formatFixed(h, 1)} µm${part}`,
    );
  }

  /** The middle of the flat views, as much of it as lies in the field. */
  #window(): Box {
    const { xUm, yUm, widthUm } = this.#host.camera();
    const half = widthUm / 2;
    const box: Box = [xUm - half, yUm - 0.75 * half, xUm + half, yUm + 0.75 * half];
    const inside = intersectBox(box, this.#data.index.window_um);
    return inside[0] < inside[2] && inside[1] < inside[3] ? inside : this.#data.index.window_um;
  }

  get #gap(): number {
    const [x0, y0, x1, y1] = this.#shapes?.windowUm ?? [0, 0, 1, 1];
    return (Number(this.#input('apart').value) / 100) * WIDEST_GAP * Math.max(x1 - x0, y1 - y0);
  }

  /** Heights are counted from the middle of the scene. */
  #middle(): number {
    const { layers } = this.#data.index;
    const high = layers.at(-1)!.top_um + (layers.length - 1) * this.#gap;
    return (layers[0]!.bottom_um + high) / 2;
  }

  #wholeHalf(): number {
    const [x0, y0, x1, y1] = this.#shapes?.windowUm ?? [0, 0, 1, 1];
    const { layers } = this.#data.index;
    const tall = layers.at(-1)!.top_um - layers[0]!.bottom_um + (layers.length - 1) * this.#gap;
    // Names stand at the right; the scene keeps clear of them on either side.
    const room = this.#ground.clientWidth - 2 * NAMES_PX;
    const aspect = room / Math.max(1, this.#ground.clientHeight);
    const across = Math.hypot(x1 - x0, y1 - y0);
    const tilt = (this.#camera.tiltDeg * Math.PI) / 180;
    const up = across * Math.sin(tilt) + tall * Math.cos(tilt);
    return 0.54 * Math.max(up, across / Math.max(0.2, aspect));
  }

  nearer = (): void => this.#look({ ...this.#camera, halfUm: this.#camera.halfUm / 1.3 });
  farther = (): void => this.#look({ ...this.#camera, halfUm: this.#camera.halfUm * 1.3 });
  showWhole = (): void => {
    this.#camera = { ...this.#camera, ...FIRST };
    this.#look({ ...this.#camera, halfUm: this.#wholeHalf() });
  };

  #look(camera: SolidCamera): void {
    this.#camera = sane(camera);
    const { turnDeg, tiltDeg } = this.#camera;
    this.#host.keep({ turn: `${Math.round(turnDeg)},${Math.round(tiltDeg)}` });
    this.#redraw();
  }

  #changed(name: string): void {
    if (name === 'alone') {
      this.enter();
      return;
    }
    if (name === 'apart') {
      this.#host.keep({ apart: this.#input('apart').value });
      this.#camera = { ...this.#camera, halfUm: this.#wholeHalf() };
    }
    this.#redraw();
  }

  /** The plate in small at once, its pixels as soon as the depth rests. */
  plateChanged(): void {
    const shapes = this.#shapes;
    if (!shapes) return;
    const index = this.#host.plate();
    const coarse = this.#host.image.small();
    if (coarse) this.#showCoarse(coarse.canvas, coarse.width, shapes);
    clearTimeout(this.#rest);
    this.#rest = window.setTimeout(() => this.#showCrop(index, shapes), REST_MS);
    this.#redraw();
  }

  /** The pixels of a grid that a window covers, and where exactly they lie. */
  #rectangle(window: Box): { pixels: PixelRectangle; box: Box } {
    const { grid } = this.#host.plates;
    const [left, top] = pixelFromDie(grid, window[0], window[3]);
    const [right, bottom] = pixelFromDie(grid, window[2], window[1]);
    const x = Math.max(0, Math.floor(left + 0.5));
    const y = Math.max(0, Math.floor(top + 0.5));
    const width = Math.max(1, Math.min(grid.width_px, Math.ceil(right + 0.5)) - x);
    const height = Math.max(1, Math.min(grid.height_px, Math.ceil(bottom + 0.5)) - y);
    const [x0, y1] = dieFromPixel(grid, x - 0.5, y - 0.5);
    const [x1, y0] = dieFromPixel(grid, x + width - 0.5, y + height - 0.5);
    return { pixels: { x, y, width, height }, box: [x0, y0, x1, y1] };
  }

  #showCoarse(canvas: CanvasImageSource, widths: number, shapes: SolidShapes): void {
    const { grid } = this.#host.plates;
    const { pixels, box } = this.#rectangle(shapes.windowUm);
    const source = canvas as { width: number };
    const scale = source.width / (widths * grid.width_px);
    const cut = document.createElement('canvas');
    cut.width = Math.max(1, Math.round(pixels.width * scale));
    cut.height = Math.max(1, Math.round(pixels.height * scale));
    cut
      .getContext('2d')!
      .drawImage(
        canvas,
        ...([pixels.x * scale, pixels.y * scale, pixels.width * scale, pixels.height * scale] as const),
        ...([0, 0, cut.width, cut.height] as const),
      );
    this.#renderer.setPicture(cut, true);
    this.#plane = { box: relative(box, shapes.windowUm) };
  }

  async #showCrop(index: number, shapes: SolidShapes): Promise<void> {
    const { pixels, box } = this.#rectangle(shapes.windowUm);
    if (Math.max(pixels.width, pixels.height) > MOST_PX) return;
    const { path, tiles } = this.#host.plates;
    const picture = await this.#crop.read(platePath(path, index), tiles, pixels).catch(() => null);
    if (!picture || index !== this.#host.plate() || shapes !== this.#shapes) return;
    this.#renderer.setPicture(picture, false);
    this.#plane = { box: relative(box, shapes.windowUm) };
    this.#pane.dataset.plane = String(index);
    this.#redraw();
  }

  readonly #redraw = oncePerFrame(() => this.#draw());

  #draw(): void {
    const shapes = this.#shapes;
    const { clientWidth: width, clientHeight: height } = this.#ground;
    if (!shapes || width === 0 || height === 0) return;
    const ratio = Math.min(2, devicePixelRatio || 1);
    this.#canvas.width = Math.round(width * ratio);
    this.#canvas.height = Math.round(height * ratio);
    const { layers } = this.#data.index;
    const [gap, middle] = [this.#gap, this.#middle()];
    const [x0, y0, x1, y1] = shapes.windowUm;
    const depth = 2 * (Math.hypot(x1 - x0, y1 - y0) + layers.at(-1)!.top_um + layers.length * gap);
    const z = this.#host.plates.z_um[this.#host.plate()]!;
    this.#renderer.draw(
      projection(this.#camera, width / height, depth),
      this.#camera.turnDeg < 0 ? -60 : -120,
      this.#meshes.map((mesh, n) => ({
        mesh,
        colour: this.#host.colours[layers[n]!.name] ?? '#ffffff',
        lift: n * gap - middle,
      })),
      this.#plane && this.#input('plate').checked
        ? { box: this.#plane.box, z: z + lift(layers, z, gap) - middle }
        : null,
    );
    drawLabels(this.#pane.querySelector<SVGElement>('.solid-labels')!, {
      ...{ camera: this.#camera, width, height, windowUm: shapes.windowUm },
      layers: layers
        .map((layer, n) => ({
          name: layer.name,
          z: (layer.bottom_um + layer.top_um) / 2 + n * gap - middle,
          seen: this.#meshes[n]!.triangles > 0,
        }))
        .filter((layer) => layer.seen),
    });
    const [cx, cy] = middleOf(shapes.windowUm);
    const apart = gap > 0 ? 'layers moved apart' : 'heights to scale';
    this.#canvas.setAttribute(
      'aria-label',
      `Drawn layers as solids around ${formatFixed(cx, 1)}, ${formatFixed(cy, 1)} µm, ${apart}, turned ${Math.round(this.#camera.turnDeg)}°, tilted ${Math.round(this.#camera.tiltDeg)}°`,
    );
    this.#pane.dataset.drawn = '';
  }

  /** What is on screen, names and scale bar included, as a PNG. */
  async #save(): Promise<void> {
    const { width, height } = this.#canvas;
    const sheet = document.createElement('canvas');
    sheet.width = width;
    sheet.height = height;
    const context = sheet.getContext('2d')!;
    context.drawImage(this.#canvas, 0, 0);
    const ratio = width / this.#ground.clientWidth;
    context.scale(ratio, ratio);
    context.font = '12px sans-serif';
    context.fillStyle = '#eceae4';
    context.strokeStyle = '#eceae4';
    for (const text of this.#pane.querySelectorAll<SVGTextElement>('.solid-labels text')) {
      context.textAlign = text.getAttribute('text-anchor') === 'middle' ? 'center' : 'left';
      context.fillText(
        text.textContent ?? '',
        Number(text.getAttribute('x')),
        Number(text.getAttribute('y')),
      );
    }
    for (const path of this.#pane.querySelectorAll<SVGPathElement>('.solid-labels path')) {
      context.stroke(new Path2D(path.getAttribute('d')!));
    }
    const blob = await new Promise<Blob | null>((done) => sheet.toBlob(done, 'image/png'));
    if (!blob) return;
    const link = document.createElement('a');
    link.href = URL.createObjectURL(blob);
    link.download = 'layers-as-solids.png';
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
    this.#host.announce('The picture was saved.');
  }
}
