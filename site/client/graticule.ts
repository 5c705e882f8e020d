/** Coordinates along the edges of a picture, the scale bar, and the pointer's twin in the other picture. */

import { chooseScaleBar, roundTicks, tickLabel } from '../lib/scale-bar.ts';
import { oncePerFrame } from './once-per-frame.ts';
import type { PictureView } from './picture-view.ts';
import { make } from './svg-element.ts';

export class Graticule {
  readonly #view: PictureView;
  readonly #drawing: SVGElement;
  readonly #marks: SVGElement;
  readonly #twin: SVGElement;
  readonly #bar: HTMLElement;
  readonly #label: HTMLElement;

  constructor(view: PictureView) {
    this.#view = view;
    this.#drawing = view.ground.querySelector<SVGElement>('.graticule')!;
    this.#bar = view.ground.querySelector<HTMLElement>('.scale-bar .bar')!;
    this.#label = view.ground.querySelector<HTMLElement>('.scale-bar .label')!;
    this.#marks = make('g', {});
    this.#twin = make('path', {
      class: 'twin',
      d: 'M -11 0 h 7 m 8 0 h 7 M 0 -11 v 7 m 0 8 v 7',
      visibility: 'hidden',
    });
    this.#drawing.append(this.#marks, this.#twin);
    view.onMove(() => this.refresh());
    new ResizeObserver(() => this.refresh()).observe(view.ground);
    this.refresh();
  }

  /** Draws once per frame, however often it is asked. */
  readonly refresh = oncePerFrame(() => this.#draw());

  #draw(): void {
    const { width, height } = this.#view.size;
    if (width === 0 || height === 0) return;
    const [left, bottom, right, top] = this.#view.boxUm();
    const marks: SVGElement[] = [];
    const across = roundTicks(left, right, Math.max(3, Math.floor(width / 80)));
    for (const x of across.values) {
      const at = this.#view.pixelOf(x, top)[0];
      marks.push(make('line', { x1: at, x2: at, y1: 0, y2: 6 }));
      if (at > 24 && at < width - 24) {
        marks.push(make('text', { x: at, y: 17, 'text-anchor': 'middle' }, tickLabel(x, across.decimals)));
      }
    }
    const up = roundTicks(bottom, top, Math.max(3, Math.floor(height / 60)));
    for (const y of up.values) {
      const at = this.#view.pixelOf(left, y)[1];
      marks.push(make('line', { x1: 0, x2: 6, y1: at, y2: at }));
      if (at > 28 && at < height - 10)
        marks.push(make('text', { x: 9, y: at + 3.5 }, tickLabel(y, up.decimals)));
    }
    this.#marks.replaceChildren(...marks);
    const bar = chooseScaleBar(this.#view.umPerPx(), Math.min(150, width * 0.4));
    this.#bar.style.width = `${bar.px}px`;
    this.#label.textContent = bar.label;
  }

  /** @param at die position, or null to take the mark away */
  showTwin(at: readonly [number, number] | null): void {
    this.#twin.setAttribute('visibility', at ? 'visible' : 'hidden');
    if (!at) return;
    const [x, y] = this.#view.pixelOf(at[0], at[1]);
    this.#twin.setAttribute('transform', `translate(${x.toFixed(1)} ${y.toFixed(1)})`);
  }
}
