/** The view in three dimensions, fetched when it is first asked for. */
import type { SolidHost, SolidView } from './solid/solid-view.ts';

export class SolidMode {
  readonly #host: SolidHost;
  readonly #extras: () => Readonly<Record<string, string>>;
  #opening: Promise<SolidView | null> | null = null;
  #view: SolidView | null = null;

  /** @param extras what the address says of it now */
  constructor(host: SolidHost, extras: () => Readonly<Record<string, string>>) {
    this.#host = host;
    this.#extras = extras;
  }

  get view(): SolidView | null {
    return this.#host.element.dataset.show === 'solid' ? this.#view : null;
  }

  async enter(): Promise<void> {
    this.#opening ??= this.#open();
    const view = await this.#opening;
    if (!view || this.#host.element.dataset.show !== 'solid') return;
    view.restore(this.#extras());
    await view.enter();
  }

  async #open(): Promise<SolidView | null> {
    const lack = this.#host.element.querySelector<HTMLElement>('.solid-lack')!;
    try {
      const { SolidView } = await import('./solid/solid-view.ts');
      this.#view = await SolidView.open(this.#host);
      return this.#view;
    } catch (error) {
      lack.textContent = error instanceof Error ? error.message : String(error);
      lack.hidden = false;
      this.#host.announce(lack.textContent);
      return null;
    }
  }
}
