/** Two pictures over each other: wiped, blended, or taking turns. The panes lie in one place; styles do the rest. */
import type { Views } from '../lib/permalink.ts';

const TURN_MS = 800;

export class Comparison {
  readonly #host: HTMLElement;
  readonly #panes: HTMLElement;
  readonly #range: HTMLInputElement;
  readonly #turn: HTMLButtonElement;
  readonly #edge: HTMLElement;
  readonly #onMix: () => void;
  #timer = 0;

  /** @param onMix called when the reader moved the wipe or the blend */
  constructor(host: HTMLElement, onMix: () => void) {
    this.#host = host;
    this.#onMix = onMix;
    this.#panes = host.querySelector<HTMLElement>('.panes')!;
    this.#range = host.querySelector<HTMLInputElement>('input[name="mix"]')!;
    this.#turn = host.querySelector<HTMLButtonElement>('[data-act="turn"]')!;
    this.#edge = host.querySelector<HTMLElement>('.wipe-edge')!;
    this.#range.addEventListener('input', () => {
      this.#place();
      onMix();
    });
    this.#turn.addEventListener('click', () => this.#press());
    this.#edge.addEventListener('pointerdown', (event) => this.#drag(event));
    this.#place();
  }

  /** 0 to 1. */
  get mix(): number {
    return Number(this.#range.value) / 100;
  }

  set mix(mix: number) {
    this.#range.value = String(Math.round(100 * mix));
    this.#place();
  }

  /** Takes up a layout of the views. */
  enter(views: Views): void {
    const mixed = views === 'wipe' || views === 'blend';
    this.#host.querySelector<HTMLElement>('.mix')!.hidden = !mixed;
    this.#host.querySelector('.mix-words')!.textContent = views === 'blend' ? 'Strength' : 'Wipe';
    this.#turn.hidden = views !== 'blink';
    this.#edge.hidden = views !== 'wipe';
    this.#place();
    this.#stop();
    if (views === 'blink' && !stillWanted()) this.#start();
    this.#say();
  }

  #place(): void {
    this.#panes.style.setProperty('--mix', String(this.mix));
    this.#range.setAttribute('aria-valuetext', `${Math.round(100 * this.mix)} %`);
  }

  /** By itself where motion is welcome; else one press is one turn. */
  #press(): void {
    if (stillWanted()) this.#over();
    else if (this.#timer === 0) this.#start();
    else this.#stop();
    this.#say();
  }

  #over(): void {
    this.#panes.classList.toggle('turned');
  }

  #start(): void {
    this.#timer = window.setInterval(() => this.#over(), TURN_MS);
  }

  #stop(): void {
    clearInterval(this.#timer);
    this.#timer = 0;
  }

  #say(): void {
    this.#turn.textContent = stillWanted() ? 'Turn over' : this.#timer === 0 ? 'Go on' : 'Hold';
  }

  #drag(event: PointerEvent): void {
    if (event.button !== 0) return;
    event.preventDefault();
    this.#edge.setPointerCapture(event.pointerId);
    const move = (at: PointerEvent): void => {
      const box = this.#panes.getBoundingClientRect();
      this.mix = Math.min(1, Math.max(0, (at.clientX - box.left) / box.width));
      this.#onMix();
    };
    const end = (): void => {
      this.#edge.removeEventListener('pointermove', move);
      this.#edge.removeEventListener('pointerup', end);
      this.#edge.removeEventListener('pointercancel', end);
    };
    this.#edge.addEventListener('pointermove', move);
    this.#edge.addEventListener('pointerup', end);
    this.#edge.addEventListener('pointercancel', end);
  }
}

const stillWanted = (): boolean => matchMedia('(prefers-reduced-motion: reduce)').matches;
