/** The stack to scale as the control of depth: pointer, wheel and keys in, plate numbers out. */
import { nearestPlate } from '../lib/depth.ts';
import { heightAtShare, type Range, shareDown } from '../lib/stack-drawing.ts';
import { wheelSteps } from '../lib/wheel.ts';
import { putAttribute } from './put.ts';

export interface DepthColumnOptions {
  readonly zUm: readonly number[];
  readonly present: () => number;
  readonly go: (index: number) => void;
  /** Page Up, Page Down, Home, End and the like; true where the key was used. */
  readonly key: (key: string) => boolean;
}

export class DepthColumn extends HTMLElement {
  #options: DepthColumnOptions | null = null;
  #range: Range = [0, 1];
  #carry = 0;

  attach(options: DepthColumnOptions): void {
    this.#options = options;
    const [low = 0, high = 1] = (this.dataset.range ?? '').split(',').map(Number);
    this.#range = [low, high];
    this.addEventListener('pointerdown', (event) => this.#press(event));
    this.addEventListener('wheel', (event) => this.wheel(event), { passive: false });
    this.#handle.addEventListener('keydown', (event) => {
      if (event.altKey || event.ctrlKey || event.metaKey) return;
      if (options.key(event.key)) event.preventDefault();
    });
  }

  get #handle(): HTMLElement {
    return this.querySelector<HTMLElement>('[role="slider"]')!;
  }

  get #present(): HTMLElement {
    return this.querySelector<HTMLElement>('.present')!;
  }

  update(index: number, words: string, layers: readonly string[]): void {
    const z = this.#options!.zUm[index]!;
    // In percent of the column's height.
    const down = (100 * shareDown(this.#range, z)).toFixed(3);
    const handle = this.#handle;
    for (const part of [this.#present, handle]) part.style.setProperty('--down', down);
    // Shown once it stands where it belongs: nothing may jump.
    putAttribute(this, 'data-placed', '');
    handle.setAttribute('aria-valuenow', String(index));
    handle.setAttribute('aria-valuetext', words);
    for (const text of this.querySelectorAll<SVGTextElement>('text[data-layer]')) {
      text.classList.toggle('here', layers.includes(text.dataset.layer!));
    }
  }

  /** Whole steps of a wheel, also for wheels turned over a picture. */
  wheel(event: WheelEvent): void {
    event.preventDefault();
    // With Shift held some systems report the wheel sideways.
    const delta = event.deltaY === 0 ? event.deltaX : event.deltaY;
    const { steps, carryPx } = wheelSteps(this.#carry, delta, event.deltaMode);
    this.#carry = carryPx;
    // Away from the reader is up.
    if (steps !== 0) this.#options!.go(this.#options!.present() - steps);
  }

  #press(event: PointerEvent): void {
    if (event.button !== 0) return;
    event.preventDefault();
    this.#handle.focus({ preventScroll: true });
    this.setPointerCapture(event.pointerId);
    const move = (at: PointerEvent): void => {
      const box = this.getBoundingClientRect();
      const z = heightAtShare(this.#range, (at.clientY - box.top) / box.height);
      this.#options!.go(nearestPlate(this.#options!.zUm, z));
    };
    const end = (): void => {
      this.removeEventListener('pointermove', move);
      this.removeEventListener('pointerup', end);
      this.removeEventListener('pointercancel', end);
    };
    this.addEventListener('pointermove', move);
    this.addEventListener('pointerup', end);
    this.addEventListener('pointercancel', end);
    move(event);
  }
}

customElements.define('depth-column', DepthColumn);
