/** One picture on its dark ground: the pyramid engine with our own hands on it, in die coordinates. */
import OpenSeadragon from 'openseadragon';
import type { PlateGrid } from '../../shared/frames.ts';
import type { Box } from '../../shared/polygon.ts';
import { type Camera, dieFromEngine, engineFromDie, gridWidthUm, wholeField } from '../lib/camera.ts';

export interface PictureViewOptions {
  readonly ground: HTMLElement;
  readonly grid: PlateGrid;
  /** The wheel alone zooms; otherwise only together with Ctrl, and the page scrolls. */
  readonly wheelZooms: boolean;
  /** Wheel with Shift or Alt, if depth is to be had. */
  readonly onDepthWheel?: ((event: WheelEvent) => void) | undefined;
  /** Page Up, Page Down, Home, End; true where the key was used. */
  readonly onDepthKey?: ((key: string) => boolean) | undefined;
}

/** Who has a view to itself for a while: a tool in hand. */
export interface Claim {
  /** A click or a tap, in engine coordinates. */
  readonly click: (u: number, v: number) => void;
  /** True where the key was used. */
  readonly key: (event: KeyboardEvent) => boolean;
}

const NEARER = 1.5;

export class PictureView {
  readonly ground: HTMLElement;
  readonly engine: OpenSeadragon.Viewer;
  readonly grid: PlateGrid;
  #moved: (() => void)[] = [];
  #claim: Claim | null = null;
  #smooth = true;
  #size = { width: 0, height: 0 };
  /** Width in CSS pixels that the engine works with; 0 while hidden. */
  #width: number;
  /** Shows the whole field until tiles do; gone as soon as it would lie about the place. */
  #poster: Element | null;
  /** Where a hidden view will be once it is seen. */
  #meant: Camera | null = null;

  constructor(options: PictureViewOptions) {
    this.ground = options.ground;
    this.grid = options.grid;
    this.#poster = options.ground.querySelector('.poster');
    const still = matchMedia('(prefers-reduced-motion: reduce)').matches;
    this.engine = new OpenSeadragon.Viewer({
      element: options.ground.querySelector<HTMLElement>('.engine')!,
      drawer: 'canvas',
      showNavigationControl: false,
      showNavigator: false,
      keyboardNavEnabled: false,
      tabIndex: -1,
      preserveViewport: true,
      blendTime: 0,
      immediateRender: false,
      animationTime: still ? 0 : 0.3,
      springStiffness: 9,
      // Its own way of resizing zooms; ours keeps the scale.
      autoResize: false,
      visibilityRatio: 0.5,
      constrainDuringPan: true,
      minZoomLevel: 0.4,
      maxZoomPixelRatio: 40,
      maxTilesPerFrame: 4,
      maxImageCacheCount: 240,
      gestureSettingsMouse: { clickToZoom: false, dblClickToZoom: true, scrollToZoom: true },
      // On a page that scrolls one finger scrolls it, and two move the picture.
      gestureSettingsTouch: { pinchRotate: false, dblClickToZoom: true, dragToPan: options.wheelZooms },
      gestureSettingsPen: { clickToZoom: false, dblClickToZoom: true },
    });
    if (!options.wheelZooms) this.engine.canvas.style.touchAction = 'pan-y';
    // The engine makes its inner boxes focusable and scrollable for keys we handle ourselves.
    for (const inner of options.ground.querySelectorAll<HTMLElement>('[tabindex]')) inner.tabIndex = -1;
    this.engine.addHandler('canvas-scroll', (event) => {
      const wheel = event.originalEvent as WheelEvent;
      if (options.onDepthWheel && (wheel.shiftKey || wheel.altKey)) {
        event.preventDefaultAction = true;
        options.onDepthWheel(wheel);
      } else if (!options.wheelZooms && !wheel.ctrlKey) {
        event.preventDefaultAction = true;
        event.preventDefault = false;
      }
    });
    this.engine.addHandler('canvas-double-click', (event) => {
      if (this.#claim) event.preventDefaultAction = true;
    });
    this.engine.addHandler('canvas-click', (event) => {
      if (!event.quick || !this.#claim) return;
      const point = this.engine.viewport.pointFromPixel(event.position, true);
      this.#claim.click(point.x, point.y);
    });
    this.engine.addHandler('viewport-change', () => this.#onMove());
    this.measure();
    this.#width = this.#size.width;
    new ResizeObserver(() => this.fit()).observe(options.ground);
    options.ground.addEventListener('keydown', (event) => {
      // Marks inside the picture keep their own keys.
      if (event.target === options.ground && this.#claim?.key(event)) return event.preventDefault();
      if (event.altKey || event.ctrlKey || event.metaKey) return;
      if (this.#key(event.key) || options.onDepthKey?.(event.key)) event.preventDefault();
    });
  }

  /** A click or a tap that moved nothing, in engine coordinates. */
  onClick(listener: (u: number, v: number) => void): void {
    this.engine.addHandler('canvas-click', (event) => {
      if (!event.quick || this.#claim) return;
      const point = this.engine.viewport.pointFromPixel(event.position, true);
      listener(point.x, point.y);
    });
  }

  /** Gives clicks and keys to one tool until it gives them back with null. */
  claim(claim: Claim | null): void {
    this.#claim = claim;
    this.ground.classList.toggle('claimed', claim !== null);
  }

  onMove(listener: () => void): void {
    this.#moved.push(listener);
  }

  /** What stood there before the first tiles is not what is seen now. */
  dropPoster(): void {
    this.#poster?.remove();
    this.#poster = null;
  }

  #onMove(): void {
    if (this.#poster && !this.hidden && !sameCamera(this.camera(), this.whole())) this.dropPoster();
    // From twice the size of a pixel on, pixels are shown as what they are.
    const smooth = this.umPerPx() * 2 > this.grid.pixel_um;
    if (smooth !== this.#smooth) {
      this.#smooth = smooth;
      this.engine.drawer.setImageSmoothingEnabled(smooth);
    }
    for (const listener of this.#moved) listener();
  }

  /** Nothing of it is on screen, by what was measured last. */
  get hidden(): boolean {
    return this.#size.width === 0 || this.#size.height === 0;
  }

  /** CSS pixels of the ground, by what was measured last: asking the page in every frame would lay it out each time. */
  get size(): { readonly width: number; readonly height: number } {
    return this.#size;
  }

  /** Measures the ground now; by itself this happens with the next layout of the page. */
  measure(): void {
    this.#size = { width: this.ground.clientWidth, height: this.ground.clientHeight };
  }

  /** Takes up a new size of the ground: same middle, same scale. */
  fit(): void {
    this.measure();
    if (this.hidden) {
      this.#meant ??= this.camera();
      this.#width = 0;
      return;
    }
    const camera = this.camera();
    const scale = this.#width === 0 ? 1 : this.#size.width / this.#width;
    if (this.#takeSize()) this.#set({ ...camera, widthUm: camera.widthUm * scale }, true);
  }

  /** Tells the engine how large the ground is; true where that was news. */
  #takeSize(): boolean {
    const { width: clientWidth, height: clientHeight } = this.#size;
    const size = this.engine.viewport.getContainerSize();
    if (this.#width === clientWidth && size.x === clientWidth && size.y === clientHeight) return false;
    this.#width = clientWidth;
    this.#meant = null;
    this.engine.viewport.resize(new OpenSeadragon.Point(clientWidth, clientHeight), false);
    this.engine.forceRedraw();
    return true;
  }

  /** Micrometres per CSS pixel. */
  umPerPx(): number {
    return this.camera().widthUm / Math.max(1, this.#width);
  }

  /** Where the view is now, on its way included. */
  camera(): Camera {
    if (this.#meant) return this.#meant;
    const centre = this.engine.viewport.getCenter(true);
    const [xUm, yUm] = dieFromEngine(this.grid, centre.x, centre.y);
    return { xUm, yUm, widthUm: gridWidthUm(this.grid) / this.engine.viewport.getZoom(true) };
  }

  /** Die micrometres in view. */
  boxUm(): Box {
    const { xUm, yUm, widthUm } = this.camera();
    const [halfX, halfY] = [widthUm / 2, (widthUm * this.#size.height) / Math.max(1, this.#size.width) / 2];
    return [xUm - halfX, yUm - halfY, xUm + halfX, yUm + halfY];
  }

  moveTo(camera: Camera, immediately = true): void {
    if (this.hidden) {
      this.#meant = camera;
      return;
    }
    this.#takeSize();
    this.#set(camera, immediately);
  }

  #set(camera: Camera, immediately: boolean): void {
    const [u, v] = engineFromDie(this.grid, camera.xUm, camera.yUm);
    this.engine.viewport.zoomTo(gridWidthUm(this.grid) / camera.widthUm, undefined, immediately);
    this.engine.viewport.panTo(new OpenSeadragon.Point(u, v), immediately);
  }

  whole(): Camera {
    const { width: clientWidth, height: clientHeight } = this.#size;
    return wholeField(this.grid, Math.max(1, clientWidth) / Math.max(1, clientHeight));
  }

  zoomBy(factor: number): void {
    this.engine.viewport.zoomBy(factor);
    this.engine.viewport.applyConstraints();
  }

  nearer = (): void => this.zoomBy(NEARER);
  farther = (): void => this.zoomBy(1 / NEARER);
  showWhole = (): void => this.moveTo(this.whole(), false);

  /** Engine coordinates of a pointer event. */
  pointAt(event: PointerEvent): [number, number] {
    const box = this.ground.getBoundingClientRect();
    const point = this.engine.viewport.pointFromPixel(
      new OpenSeadragon.Point(event.clientX - box.left, event.clientY - box.top),
      true,
    );
    return [point.x, point.y];
  }

  /** CSS pixels inside the ground of a die position. */
  pixelOf(xUm: number, yUm: number): [number, number] {
    const [u, v] = engineFromDie(this.grid, xUm, yUm);
    const pixel = this.engine.viewport.pixelFromPoint(new OpenSeadragon.Point(u, v), true);
    return [pixel.x, pixel.y];
  }

  #key(key: string): boolean {
    const stride = 0.15 / this.engine.viewport.getZoom();
    const pan = (x: number, y: number): void => {
      this.engine.viewport.panBy(new OpenSeadragon.Point(x * stride, y * stride));
      this.engine.viewport.applyConstraints();
    };
    if (key === 'ArrowLeft') pan(-1, 0);
    else if (key === 'ArrowRight') pan(1, 0);
    else if (key === 'ArrowUp') pan(0, -1);
    else if (key === 'ArrowDown') pan(0, 1);
    else if (key === '+' || key === '=') this.nearer();
    else if (key === '-' || key === '−') this.farther();
    else if (key === '0') this.showWhole();
    else return false;
    return true;
  }
}

/** Keeps views on the same place; whoever is touched leads, the others follow without delay. */
export class LinkedViews {
  readonly #views: PictureView[] = [];
  readonly #told = new Map<PictureView, Camera>();
  #listeners: (() => void)[] = [];

  constructor(views: readonly PictureView[]) {
    for (const view of views) this.add(view);
  }

  /** In the order in which they may lead. */
  get all(): readonly PictureView[] {
    return this.#views;
  }

  add(view: PictureView): void {
    this.#views.push(view);
    view.onMove(() => {
      const camera = view.camera();
      for (const listener of this.#listeners) listener();
      // A view reports in its next frame that it has followed; that must not stop the leader on its way.
      const order = this.#told.get(view);
      if (order && sameCamera(order, camera)) return;
      for (const other of this.#views) {
        if (other === view) continue;
        this.#told.set(other, camera);
        other.moveTo(camera);
      }
    });
  }

  /** @param listener called whenever one of them moves */
  onMove(listener: () => void): void {
    this.#listeners.push(listener);
  }
}

function sameCamera(a: Camera, b: Camera): boolean {
  const hair = 1e-6 * a.widthUm;
  return (
    Math.abs(a.xUm - b.xUm) < hair && Math.abs(a.yUm - b.yUm) < hair && Math.abs(a.widthUm - b.widthUm) < hair
  );
}
