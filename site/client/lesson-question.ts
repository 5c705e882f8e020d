/** One question of a lesson: takes answers, says what they are worth, helps on. */
import { depthOff, judgePlace, wayWords } from '../lib/lesson-answer.ts';
import type { ToViewer } from '../lib/lesson-messages.ts';
import type { PageAnswer } from '../lib/lesson-step.ts';
import { formatLength } from '../lib/numbers.ts';

/** Misses after which the place is shown to those who ask. */
const SHOW_AFTER = 2;

export class QuestionPanel {
  readonly #element: HTMLElement;
  readonly #answer: PageAnswer;
  readonly #tell: (message: ToViewer) => void;
  #misses = 0;
  #done = false;
  #asked = false;

  /** @param tell speaks to the viewer, while the question's step is shown */
  constructor(element: HTMLElement, tell: (message: ToViewer) => void) {
    this.#element = element;
    this.#answer = JSON.parse(element.dataset.question!) as PageAnswer;
    this.#tell = tell;
    element.addEventListener('click', (event) => {
      const button = (event.target as Element).closest<HTMLButtonElement>('button');
      if (!button) return;
      if (button.dataset.choice !== undefined) this.#choose(button);
      else if (button.dataset.act === 'hint') this.#hint(button);
      else if (button.dataset.act === 'reveal') this.#reveal();
      else if (button.dataset.act === 'middle') tell({ lesson: 'middle' });
      else if (button.dataset.act === 'here') {
        this.#asked = true;
        tell({ lesson: 'height' });
      }
    });
  }

  /** Whether a click in the picture is an answer now. */
  get wantsClick(): boolean {
    return this.#answer.kind === 'place' && !this.#done;
  }

  place(xUm: number, yUm: number): void {
    if (this.#answer.kind !== 'place' || this.#done) return;
    const { right, offUm } = judgePlace(this.#answer, xUm, yUm);
    const far = formatLength(Math.hypot(...offUm), 2);
    this.#say(right, `It lies ${far} ${wayWords(offUm)}.`);
    if (right) this.#tell({ lesson: 'ask', place: false });
  }

  height(zUm: number): void {
    if (this.#answer.kind !== 'depth' || !this.#asked) return;
    this.#asked = false;
    const off = depthOff(this.#answer, zUm);
    this.#say(off === 0, off > 0 ? 'It lies higher up.' : 'It lies lower down.');
  }

  #choose(button: HTMLButtonElement): void {
    if (this.#answer.kind !== 'choice' || this.#done) return;
    const right = Number(button.dataset.choice) === this.#answer.right;
    button.dataset.judged = right ? 'right' : 'wrong';
    button.setAttribute('aria-disabled', 'true');
    this.#say(right, '');
    if (!right) return;
    for (const other of this.#element.querySelectorAll('[data-choice]'))
      other.setAttribute('aria-disabled', 'true');
  }

  #say(right: boolean, way: string): void {
    const part = (name: string): HTMLElement => this.#element.querySelector(`[data-said="${name}"]`)!;
    part('right').hidden = !right;
    part('wrong').hidden = right;
    part('wrong').querySelector('[data-way]')!.textContent = way;
    this.#element.classList.toggle('answered', right);
    this.#done = right;
    if (!right) this.#misses++;
    const reveal = this.#element.querySelector<HTMLElement>('[data-act="reveal"]');
    if (reveal) reveal.hidden = right || this.#misses < SHOW_AFTER || this.#answer.kind !== 'place';
  }

  #hint(button: HTMLButtonElement): void {
    const hint = this.#element.querySelector<HTMLElement>('[data-hint]')!;
    hint.hidden = !hint.hidden;
    button.setAttribute('aria-expanded', String(!hint.hidden));
  }

  #reveal(): void {
    if (this.#answer.kind === 'place') this.#tell({ lesson: 'reveal', shapes: this.#answer.shapes });
  }
}
