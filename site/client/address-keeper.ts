/** The state of a viewer in the address: written as it changes, read again when the reader goes back or forward. */
import { encodeState, parseState, type ViewState } from '../lib/permalink.ts';

/** The address is written when the reader rests: each change costs more than a frame. */
const REST_MS = 300;
/** But not later than this; browsers allow about a hundred changes in half a minute. */
const LATEST_MS = 1500;

export class AddressKeeper {
  readonly #read: () => ViewState;
  #written = '';
  #timer = 0;
  #asStep = false;
  /** When the first change came that is not written yet. */
  #since = 0;

  /** @param restore called when the address was changed by somebody else */
  constructor(read: () => ViewState, restore: (state: Partial<ViewState>) => void) {
    this.#read = read;
    this.#written = location.hash;
    const again = (): void => {
      if (location.hash === this.#written) return;
      clearTimeout(this.#timer);
      this.#timer = 0;
      this.#asStep = false;
      this.#written = location.hash;
      restore(parseState(location.hash));
    };
    addEventListener('hashchange', again);
    addEventListener('popstate', again);
  }

  /** The state changed a little: the present entry of the history follows. */
  write(): void {
    const now = performance.now();
    if (this.#timer === 0) this.#since = now;
    clearTimeout(this.#timer);
    const wait = Math.min(REST_MS, Math.max(0, this.#since + LATEST_MS - now));
    this.#timer = window.setTimeout(() => this.flush(), wait);
  }

  /** The state changes so much that a reader may want to come back to what was before. */
  step(change: () => void): void {
    if (!this.#asStep) this.flush();
    this.#asStep = true;
    change();
    this.write();
  }

  /** Writes at once what is due. */
  flush(): void {
    clearTimeout(this.#timer);
    this.#timer = 0;
    const address = encodeState(this.#read());
    const asStep = this.#asStep && address !== this.#written;
    this.#asStep = false;
    this.#written = address;
    if (asStep) history.pushState(history.state, '', address);
    else history.replaceState(history.state, '', address);
  }
}
