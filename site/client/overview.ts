/** The whole field in a corner of the picture, with what is in view framed. For the pointer; keys move the view itself. */
import { gridBoxUm } from '../../shared/frames.ts';
import { frameInOverview, overviewSize } from '../lib/overview-frame.ts';
import { oncePerFrame } from './once-per-frame.ts';
import { putHidden } from './put.ts';
import type { ScanImage } from './scan-image.ts';

/** A view that shows this share of the field or more needs no overview. */
const WHOLE = 0.85;

export class Overview {
  readonly #image: ScanImage;
  readonly #box: HTMLElement;
  readonly #canvas = document.createElement('canvas');
  readonly #frame = document.createElement('div');
  #wanted = true;

  constructor(image: ScanImage) {
    this.#image = image;
    const { ground } = image.view;
    this.#box = document.createElement('div');
    this.#box.className = 'overview';
    this.#box.setAttribute('aria-hidden', 'true');
    this.#frame.className = 'frame';
    this.#box.append(this.#canvas, this.#frame);
    ground.append(this.#box);
    image.view.onMove(() => this.refresh());
    image.onPicture(() => this.refresh());
    new ResizeObserver(() => this.refresh()).observe(ground);
    this.#box.addEventListener('pointerdown', (event) => this.#press(event));
    this.refresh();
  }

  get wanted(): boolean {
    return this.#wanted;
  }

  set wanted(wanted: boolean) {
    this.#wanted = wanted;
    this.refresh();
  }

  readonly refresh = oncePerFrame(() => this.#draw());

  #draw(): void {
    const { view, index } = this.#image;
    if (view.hidden || index < 0) return;
    const { width: clientWidth } = view.size;
    const inView = view.boxUm();
    const box = gridBoxUm(view.grid);
    const seen = Math.min(
      (inView[2] - inView[0]) / (box[2] - box[0]),
      (inView[3] - inView[1]) / (box[3] - box[1]),
    );
    putHidden(this.#box, !this.#wanted || seen >= WHOLE);
    if (this.#box.hidden) return;
    const { width, height } = overviewSize(view.grid, clientWidth);
    if (this.#canvas.width !== width || this.#canvas.height !== height) {
      this.#canvas.width = width;
      this.#canvas.height = height;
      this.#box.style.width = `${width}px`;
      this.#box.style.height = `${height}px`;
    }
    const context = this.#canvas.getContext('2d')!;
    const small = this.#image.small();
    if (small) {
      context.clearRect(0, 0, width, height);
      context.drawImage(small.canvas, 0, 0, small.width * width, small.height * width);
    }
    const frame = frameInOverview(inView, box, width);
    const { style } = this.#frame;
    style.transform = `translate(${frame.left.toFixed(1)}px, ${frame.top.toFixed(1)}px)`;
    style.width = `${frame.width.toFixed(1)}px`;
    style.height = `${frame.height.toFixed(1)}px`;
  }

  #press(event: PointerEvent): void {
    if (event.button !== 0) return;
    event.preventDefault();
    event.stopPropagation();
    this.#box.setPointerCapture(event.pointerId);
    const move = (at: PointerEvent): void => {
      const box = this.#box.getBoundingClientRect();
      const [x0, , , y1] = gridBoxUm(this.#image.view.grid);
      const umPerPx = (this.#image.view.grid.width_px * this.#image.view.grid.pixel_um) / box.width;
      this.#image.view.moveTo({
        xUm: x0 + (at.clientX - box.left) * umPerPx,
        yUm: y1 - (at.clientY - box.top) * umPerPx,
        widthUm: this.#image.view.camera().widthUm,
      });
    };
    const end = (): void => {
      this.#box.removeEventListener('pointermove', move);
      this.#box.removeEventListener('pointerup', end);
      this.#box.removeEventListener('pointercancel', end);
    };
    this.#box.addEventListener('pointermove', move);
    this.#box.addEventListener('pointerup', end);
    this.#box.addEventListener('pointercancel', end);
    move(event);
  }
}
