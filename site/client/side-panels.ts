/** The panels at the side of the pictures: at most one is open; each has a button that says so. */

export class SidePanels {
  readonly #host: HTMLElement;
  readonly #aside: HTMLElement | null;
  #listeners: (() => void)[] = [];

  constructor(host: HTMLElement) {
    this.#host = host;
    this.#aside = host.querySelector('.side');
    for (const button of this.#buttons()) {
      button.addEventListener('click', (event) => {
        const name = button.dataset.panel!;
        this.show(this.open === name ? null : name);
        // A click of the keyboard (it counts no presses) goes on in what it opened, which lies past both pictures.
        if (event.detail === 0 && this.open === name) this.#enter(name);
      });
    }
    this.#aside?.addEventListener('click', (event) => {
      if ((event.target as Element).closest('[data-act="close-panel"]')) this.#close();
    });
    this.#aside?.addEventListener('keydown', (event) => {
      if (event.key !== 'Escape') return;
      event.preventDefault();
      this.#close();
    });
  }

  #buttons(): HTMLButtonElement[] {
    return [...this.#host.querySelectorAll<HTMLButtonElement>('button[data-panel]')];
  }

  get open(): string | null {
    return this.#aside?.dataset.open ?? null;
  }

  #enter(name: string): void {
    const heading = this.#aside?.querySelector<HTMLElement>(`[data-side="${name}"] h2`);
    heading?.setAttribute('tabindex', '-1');
    heading?.focus();
  }

  /** Closes, and gives the keyboard back to the button that opened. */
  #close(): void {
    const name = this.open;
    this.show(null);
    this.#buttons()
      .find((button) => button.dataset.panel === name)
      ?.focus();
  }

  show(name: string | null): void {
    const aside = this.#aside;
    // A viewer in a frame has room for its pictures only.
    if (!aside || this.open === name || document.body.classList.contains('bare')) return;
    if (name === null) delete aside.dataset.open;
    else aside.dataset.open = name;
    aside.hidden = name === null;
    for (const panel of aside.querySelectorAll<HTMLElement>('[data-side]')) {
      panel.hidden = panel.dataset.side !== name;
    }
    for (const button of this.#buttons()) {
      button.setAttribute('aria-expanded', String(button.dataset.panel === name));
    }
    for (const listener of this.#listeners) listener();
  }

  onToggle(listener: () => void): void {
    this.#listeners.push(listener);
  }
}
