/** Findings as marks over one picture: buttons at their places, as large as what they mark. */
import { oncePerFrame } from './once-per-frame.ts';
import type { PictureView } from './picture-view.ts';

export interface Mark {
  readonly id: string;
  readonly boxUm: readonly [number, number, number, number];
  /** What a reader who does not see it is told. */
  readonly words: string;
  /** Look: "open", "accept", "reject", "comment". */
  readonly state: string;
  readonly selected: boolean;
  /** Not of this layer, but of one beside it. */
  readonly faint: boolean;
}

export interface MarkLayerOptions {
  readonly view: PictureView;
  /** One view carries the marks for the keyboard; in the other they are for the pointer only. */
  readonly keyboard: boolean;
  readonly onSelect: (id: string) => void;
}

/** Targets are never smaller. @source WCAG 2.2, 2.5.8 */
const LEAST_PX = 24;
/** More marks at a time hide what they mark; the first are the likeliest, and nearer views show the others. */
const MOST = 200;
/** Room between a mark and what it marks. */
const ROOM_PX = 5;

export class MarkLayer {
  readonly #options: MarkLayerOptions;
  readonly #box: HTMLElement;
  #shown = '';
  #marks: { mark: Mark; button: HTMLButtonElement }[] = [];

  constructor(options: MarkLayerOptions) {
    this.#options = options;
    this.#box = document.createElement('div');
    this.#box.className = 'marks';
    if (!options.keyboard) this.#box.setAttribute('aria-hidden', 'true');
    options.view.ground.append(this.#box);
    options.view.onMove(() => this.refresh());
    new ResizeObserver(() => this.refresh()).observe(options.view.ground);
    this.#box.addEventListener('keydown', (event) => this.#key(event));
    this.#box.addEventListener('click', (event) => {
      const button = (event.target as Element).closest<HTMLButtonElement>('button');
      if (button) options.onSelect(button.dataset.id!);
    });
  }

  show(marks: readonly Mark[]): void {
    const key = JSON.stringify(marks);
    if (key === this.#shown) return;
    this.#shown = key;
    const held = this.#box.contains(document.activeElement)
      ? (document.activeElement as HTMLElement).dataset.id
      : undefined;
    const old = new Map(this.#marks.map((one) => [one.mark.id, one.button]));
    this.#marks = marks.map((mark) => {
      const button = old.get(mark.id) ?? document.createElement('button');
      button.type = 'button';
      button.dataset.id = mark.id;
      button.className = 'finding-mark';
      button.dataset.state = mark.state;
      button.classList.toggle('faint', mark.faint);
      if (mark.selected) button.setAttribute('aria-current', 'true');
      else button.removeAttribute('aria-current');
      button.setAttribute('aria-label', mark.words);
      button.title = mark.words;
      button.tabIndex = -1;
      return { mark, button };
    });
    this.#box.replaceChildren(...this.#marks.map((one) => one.button));
    const first = marks.find((mark) => mark.selected)?.id ?? marks[0]?.id;
    this.#stop(held !== undefined && marks.some((mark) => mark.id === held) ? held : first);
    if (held !== undefined) {
      const again = this.#marks.find((one) => one.mark.id === held)?.button;
      // A mark that went away with its layer leaves the keyboard in its picture, not nowhere.
      (again ?? this.#options.view.ground).focus({ preventScroll: true });
    }
    this.refresh();
  }

  /** Makes one mark the stop of the Tab key. */
  #stop(id: string | undefined): void {
    if (!this.#options.keyboard) return;
    for (const { mark, button } of this.#marks) button.tabIndex = mark.id === id ? 0 : -1;
  }

  #key(event: KeyboardEvent): void {
    if (event.altKey || event.ctrlKey || event.metaKey) return;
    const seen = this.#marks.filter((one) => !one.button.hidden);
    const at = seen.findIndex((one) => one.button === document.activeElement);
    const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
    if (at < 0 || step === undefined) return;
    const next = seen[(at + step + seen.length) % seen.length]!;
    this.#stop(next.mark.id);
    next.button.focus({ preventScroll: true });
    event.preventDefault();
    // The picture behind would move.
    event.stopPropagation();
  }

  /** Draws once per frame, however often it is asked. */
  readonly refresh = oncePerFrame(() => this.#place());

  #place(): void {
    const { view } = this.#options;
    if (view.hidden) return;
    const { width: clientWidth, height: clientHeight } = view.size;
    // One straight map for all marks: asking the view for each corner would cost more than drawing them.
    const [originX, originY] = view.pixelOf(0, 0);
    const scale = 1 / view.umPerPx();
    let shown = 0;
    let stop: string | undefined;
    for (const { mark, button } of this.#marks) {
      const [x0, y0, x1, y1] = mark.boxUm;
      const width = Math.max(LEAST_PX, (x1 - x0) * scale + 2 * ROOM_PX);
      const height = Math.max(LEAST_PX, (y1 - y0) * scale + 2 * ROOM_PX);
      const x = originX + ((x0 + x1) / 2) * scale - width / 2;
      const y = originY - ((y0 + y1) / 2) * scale - height / 2;
      const inView = x < clientWidth && y < clientHeight && x + width > 0 && y + height > 0;
      const visible = inView && (shown < MOST || mark.selected);
      button.hidden = !visible;
      if (!visible) continue;
      shown++;
      if (stop === undefined || button.tabIndex === 0) stop = mark.id;
      const { style } = button;
      style.width = `${width.toFixed(1)}px`;
      style.height = `${height.toFixed(1)}px`;
      style.transform = `translate(${x.toFixed(1)}px, ${y.toFixed(1)}px)`;
    }
    // The stop of the Tab key must be one that is seen.
    this.#stop(stop);
  }
}
