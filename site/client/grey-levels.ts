/** Contrast and brightness of the images: which grey is shown as black and which as white, by hand or fitted. */
import { fitLevels } from '../lib/fit-levels.ts';
import type { Levels } from '../lib/permalink.ts';
import type { PictureView } from './picture-view.ts';

const FIT_AFTER_MS = 160;
/** Samples along the longer side of the view. */
const SAMPLES = 96;

export class GreyLevels {
  readonly #host: HTMLElement;
  readonly #panel: HTMLElement;
  readonly #view: PictureView;
  readonly #onChange: () => void;
  readonly #sample = new OffscreenCanvas(1, 1);
  #auto = false;
  #levels: readonly [number, number] = [0, 255];
  #timer = 0;

  /** @param view whose greys are fitted @param onChange called when the reader changed something */
  constructor(host: HTMLElement, view: PictureView, onChange: () => void) {
    this.#host = host;
    this.#panel = host.querySelector<HTMLElement>('.levels')!;
    this.#view = view;
    this.#onChange = onChange;
    this.#input('black').addEventListener('input', () => this.#byHand('black'));
    this.#input('white').addEventListener('input', () => this.#byHand('white'));
    this.#input('fit').addEventListener('change', () => {
      this.restore(this.#input('fit').checked ? 'auto' : this.#levels);
      onChange();
    });
    this.#panel.querySelector('[data-act="levels-reset"]')!.addEventListener('click', () => {
      this.restore(undefined);
      onChange();
    });
    view.onMove(() => this.refit());
  }

  #input(name: string): HTMLInputElement {
    return this.#panel.querySelector<HTMLInputElement>(`input[name="${name}"]`)!;
  }

  /** For the address; undefined where the greys are those of the build. */
  get state(): Levels | undefined {
    if (this.#auto) return 'auto';
    const [black, white] = this.#levels;
    return black === 0 && white === 255 ? undefined : this.#levels;
  }

  restore(levels: Levels | undefined): void {
    this.#auto = levels === 'auto';
    if (levels !== 'auto') this.#set(levels ?? [0, 255]);
    this.#input('fit').checked = this.#auto;
    this.refit();
  }

  /** Looks again at what is in view, once that rests. */
  refit(): void {
    if (!this.#auto) return;
    clearTimeout(this.#timer);
    this.#timer = window.setTimeout(() => this.#fit(), FIT_AFTER_MS);
  }

  #byHand(moved: 'black' | 'white'): void {
    this.#auto = false;
    this.#input('fit').checked = false;
    let black = Number(this.#input('black').value);
    let white = Number(this.#input('white').value);
    // The two never meet: the one that is moved pushes the other.
    if (moved === 'black') white = Math.max(white, Math.min(255, black + 4));
    else black = Math.min(black, Math.max(0, white - 4));
    this.#set([Math.min(black, white - 4), white]);
    this.#onChange();
  }

  #fit(): void {
    const canvas = this.#view.engine.drawer.canvas as HTMLCanvasElement;
    if (!this.#auto || canvas.width === 0 || canvas.height === 0) return;
    const scale = SAMPLES / Math.max(canvas.width, canvas.height);
    this.#sample.width = Math.max(1, Math.round(canvas.width * scale));
    this.#sample.height = Math.max(1, Math.round(canvas.height * scale));
    const context = this.#sample.getContext('2d', { willReadFrequently: true })!;
    // Single pixels, not means of many: means would hide how far the greys spread.
    context.imageSmoothingEnabled = false;
    context.drawImage(canvas, 0, 0, this.#sample.width, this.#sample.height);
    const { data } = context.getImageData(0, 0, this.#sample.width, this.#sample.height);
    const levels = fitLevels(data);
    if (levels) this.#set(levels);
  }

  #set(levels: readonly [number, number]): void {
    this.#levels = levels;
    const [black, white] = levels;
    this.#input('black').value = String(black);
    this.#input('white').value = String(white);
    this.#panel.querySelector('[data-levels]')!.textContent = `${black} to ${white}`;
    const own = black === 0 && white === 255;
    const slope = 255 / (white - black);
    for (const transfer of this.#host.querySelectorAll(
      '#grey-levels feFuncR, #grey-levels feFuncG, #grey-levels feFuncB',
    )) {
      transfer.setAttribute('slope', String(slope));
      transfer.setAttribute('intercept', String((-black / 255) * slope));
    }
    // A filter that changes nothing would still cost a pass over every frame.
    this.#host.classList.toggle('levelled', !own);
  }
}
