/** A lesson as it is read: one step at a time beside the viewer, with its questions. All of it is there without. */
import { type FromViewer, lessonMessage, type ToViewer } from '../lib/lesson-messages.ts';
import type { PageView } from '../lib/lesson-step.ts';
import { QuestionPanel } from './lesson-question.ts';

/** As in lesson.css: the picture stands above the text. */
const narrow = matchMedia('(max-width: 59.99rem)');

class LessonPlayer extends HTMLElement {
  #steps: HTMLElement[] = [];
  #questions: QuestionPanel[][] = [];
  #frame: HTMLIFrameElement | null = null;
  /** Scan in the frame, and whether its viewer listens. */
  #scan = '';
  #listens = false;
  #at = -1;

  connectedCallback(): void {
    this.#steps = [...this.querySelectorAll<HTMLElement>('.lesson-step')];
    this.#questions = this.#steps.map((step, n) =>
      [...step.querySelectorAll<HTMLElement>('[data-question]')].map(
        (element) =>
          new QuestionPanel(element, (message) => {
            if (n === this.#at) this.#tell(message);
          }),
      ),
    );
    this.classList.add('playing');
    const act = (name: string, run: () => void): void =>
      this.querySelector(`[data-act="${name}"]`)?.addEventListener('click', run);
    act('next', () => this.#turn(1));
    act('back', () => this.#turn(-1));
    act('present', () => this.#present(!this.classList.contains('presenting')));
    this.#pointAtMarks();
    addEventListener('message', (event) => this.#hear(event));
    addEventListener('hashchange', () => this.#fromAddress(true));
    addEventListener('keydown', (event) => this.#key(event));
    document.addEventListener('fullscreenchange', () => {
      if (!document.fullscreenElement) this.#present(false);
    });
    this.#fromAddress(false);
  }

  #fromAddress(focus: boolean): void {
    const number = Number(/^#step-(\d+)$/.exec(location.hash)?.[1] ?? 1);
    const last = this.#steps.length - 1;
    this.#show(Math.min(last, Math.max(0, number - 1)), focus);
  }

  #turn(by: number): void {
    const to = this.#at + by;
    // The address leads; back and forward of the browser then turn the steps as well.
    if (to >= 0 && to < this.#steps.length) location.hash = `#step-${to + 1}`;
  }

  #show(at: number, focus: boolean): void {
    if (at === this.#at) return;
    this.#at = at;
    const step = this.#steps[at]!;
    for (const other of this.#steps) other.hidden = other !== step;
    const opening = this.querySelector<HTMLElement>('[data-opening]');
    if (opening) opening.hidden = at > 0;
    const closing = this.querySelector<HTMLElement>('[data-closing]');
    if (closing) closing.hidden = at < this.#steps.length - 1;
    for (const [n, link] of this.querySelectorAll('.lesson-way a').entries()) {
      if (n === at) link.setAttribute('aria-current', 'step');
      else link.removeAttribute('aria-current');
    }
    const disable = (name: string, off: boolean): void => {
      this.querySelector(`[data-act="${name}"]`)!.toggleAttribute('disabled', off);
    };
    disable('back', at === 0);
    disable('next', at === this.#steps.length - 1);
    this.querySelector('[data-count]')!.textContent = `${at + 1} of ${this.#steps.length}`;
    this.#showView(step);
    if (!focus) return;
    step.querySelector<HTMLElement>('h2')!.focus({ preventScroll: true });
    this.querySelector('.lesson-text')!.scrollTo({ top: 0 });
    if (!narrow.matches && this.getBoundingClientRect().top < 0) this.scrollIntoView({ block: 'start' });
    this.#bringIntoSight(step);
  }

  /** On a narrow page the picture covers the upper half: the step begins below it, or in sight already. */
  #bringIntoSight(step: HTMLElement): void {
    const { top } = step.getBoundingClientRect();
    const margin = Number.parseFloat(getComputedStyle(step).scrollMarginTop) || 0;
    if (top < 0 || top > innerHeight * 0.7 || (margin < innerHeight && top < margin - 1 && narrow.matches))
      step.scrollIntoView({ block: 'start' });
  }

  #viewOf(step: HTMLElement | undefined): PageView | null {
    return step?.dataset.view ? (JSON.parse(step.dataset.view) as PageView) : null;
  }

  #showView(step: HTMLElement): void {
    const view = this.#viewOf(step);
    if (!view) return;
    if (view.scan !== this.#scan) {
      this.#scan = view.scan;
      this.#listens = false;
      const frame = document.createElement('iframe');
      frame.title = `Viewer: ${view.title}`;
      frame.allow = 'fullscreen';
      frame.src = `${this.dataset.root}scan/${view.scan}/embed/${view.state}`;
      this.querySelector('[data-frame-place]')!.replaceChildren(frame);
      this.#frame = frame;
      return;
    }
    if (this.#listens) this.#send(view);
  }

  #send(view: PageView): void {
    this.#tell({ lesson: 'show', state: view.state, marks: view.marks, hidden: view.hidden });
    const place = (this.#questions[this.#at] ?? []).some((question) => question.wantsClick);
    this.#tell({ lesson: 'ask', place });
  }

  #tell(message: ToViewer): void {
    this.#frame?.contentWindow?.postMessage(message, location.origin);
  }

  #hear(event: MessageEvent): void {
    const message = lessonMessage<FromViewer>(event, this.#frame?.contentWindow ?? null);
    if (!message) return;
    if (message.lesson === 'ready') {
      this.#listens = true;
      const view = this.#viewOf(this.#steps[this.#at]);
      if (view) this.#send(view);
      return;
    }
    const open = this.#questions[this.#at] ?? [];
    if (message.lesson === 'press')
      open.find((question) => question.wantsClick)?.place(message.xUm, message.yUm);
    else for (const question of open) question.height(message.zUm);
  }

  /** A word that points into the picture makes its mark stand out, under the pointer and in focus. */
  #pointAtMarks(): void {
    const point = (event: Event, on: boolean): void => {
      const button = (event.target as Element).closest?.('button.pointing');
      if (button)
        this.#tell({ lesson: 'point', number: on ? Number((button as HTMLElement).dataset.mark) : null });
    };
    for (const name of ['pointerover', 'focusin', 'click'])
      this.addEventListener(name, (e) => point(e, true));
    for (const name of ['pointerout', 'focusout']) this.addEventListener(name, (e) => point(e, false));
  }

  #present(on: boolean): void {
    if (on === this.classList.contains('presenting')) return;
    this.classList.toggle('presenting', on);
    document.body.classList.toggle('lesson-presented', on);
    const button = this.querySelector('[data-act="present"]')!;
    button.setAttribute('aria-pressed', String(on));
    button.textContent = on ? 'End presenting' : 'Present';
    // Where the browser grants no full screen, the page alone is large enough.
    if (on) this.requestFullscreen?.().catch(() => {});
    else if (document.fullscreenElement) void document.exitFullscreen();
    this.querySelector('[data-say]')!.textContent = on
      ? 'Presenting. Page Down and Page Up turn the steps, Escape ends it.'
      : 'No longer presenting.';
  }

  /** Keys of a presenter's remote control; only while presenting, so that a page still scrolls. */
  #key(event: KeyboardEvent): void {
    if (!this.classList.contains('presenting') || event.altKey || event.ctrlKey || event.metaKey) return;
    if (event.key === 'PageDown') this.#turn(1);
    else if (event.key === 'PageUp') this.#turn(-1);
    else if (event.key === 'Escape') this.#present(false);
    else return;
    event.preventDefault();
  }
}

customElements.define('lesson-player', LessonPlayer);
