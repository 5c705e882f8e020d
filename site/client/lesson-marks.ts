/** Numbered marks of a lesson over one picture, and the outline of an answer. Words stand in the lesson's text. */
import { EMPTY_BOX, polygonBox, unionBox } from '../../shared/polygon.ts';
import type { PageMark } from '../lib/lesson-step.ts';
import { oncePerFrame } from './once-per-frame.ts';
import type { PictureView } from './picture-view.ts';

/** A mark around a small thing is no smaller than this, so that it does not hide it. */
const LEAST_PX = 26;
const ROOM_PX = 4;

type Drawn = { readonly box: HTMLElement; readonly boxUm: PageMark['boxUm']; readonly number: number | null };

export class LessonMarks {
  readonly #view: PictureView;
  readonly #layer: HTMLElement;
  #marks: Drawn[] = [];
  #revealed: Drawn[] = [];

  constructor(view: PictureView) {
    this.#view = view;
    this.#layer = document.createElement('div');
    this.#layer.className = 'lesson-marks';
    this.#layer.setAttribute('aria-hidden', 'true');
    view.ground.append(this.#layer);
    view.onMove(() => this.refresh());
    new ResizeObserver(() => this.refresh()).observe(view.ground);
  }

  show(marks: readonly PageMark[]): void {
    this.#marks = marks.map(({ number, words, boxUm }) => {
      const box = document.createElement('div');
      box.className = 'lesson-mark';
      const badge = document.createElement('span');
      badge.className = 'lesson-badge';
      badge.textContent = String(number);
      const label = document.createElement('span');
      label.className = 'lesson-label';
      label.textContent = words;
      badge.append(label);
      box.append(badge);
      return { box, boxUm, number };
    });
    this.#revealed = [];
    this.#fill();
  }

  point(number: number | null): void {
    for (const mark of this.#marks) mark.box.classList.toggle('pointed', mark.number === number);
  }

  /** Boxes around shapes, one around all where they are many. */
  reveal(shapes: readonly (readonly number[])[]): void {
    const boxes = shapes.map((shape) => polygonBox(shape));
    const shown = boxes.length > 12 ? [boxes.reduce(unionBox, EMPTY_BOX)] : boxes;
    this.#revealed = shown.map((boxUm) => {
      const box = document.createElement('div');
      box.className = 'lesson-mark answer';
      return { box, boxUm, number: null };
    });
    this.#fill();
  }

  #fill(): void {
    this.#layer.replaceChildren(...[...this.#marks, ...this.#revealed].map((one) => one.box));
    this.#place();
  }

  readonly refresh = oncePerFrame(() => this.#place());

  #place(): void {
    const view = this.#view;
    if (view.hidden) return;
    const [originX, originY] = view.pixelOf(0, 0);
    const scale = 1 / view.umPerPx();
    for (const { box, boxUm } of [...this.#marks, ...this.#revealed]) {
      const [x0, y0, x1, y1] = boxUm;
      const width = Math.max(LEAST_PX, (x1 - x0) * scale + 2 * ROOM_PX);
      const height = Math.max(LEAST_PX, (y1 - y0) * scale + 2 * ROOM_PX);
      const x = originX + ((x0 + x1) / 2) * scale - width / 2;
      const y = originY - ((y0 + y1) / 2) * scale - height / 2;
      box.style.width = `${width.toFixed(1)}px`;
      box.style.height = `${height.toFixed(1)}px`;
      box.style.transform = `translate(${x.toFixed(1)}px, ${y.toFixed(1)}px)`;
    }
  }
}
