/** The readings of one scan, kept in this browser. */

import { sameInput } from '../../lib/measuring/link.ts';
import type { Reading } from '../../lib/measuring/reading.ts';
import { readStoredReadings } from '../../lib/measuring/stored.ts';

export class ReadingStore {
  readonly #key: string;
  #readings: Reading[] = [];
  #listeners: (() => void)[] = [];

  /** @param key one for each scan of each folio */
  constructor(key: string) {
    this.#key = key;
    this.#read();
    // Another tab of the same folio may measure, too.
    addEventListener('storage', (event) => {
      if (event.key === key) this.#read();
    });
  }

  get all(): readonly Reading[] {
    return this.#readings;
  }

  onChange(listener: () => void): void {
    this.#listeners.push(listener);
  }

  #read(): void {
    let text: string | null = null;
    try {
      text = localStorage.getItem(this.#key);
    } catch {
      // A browser that keeps nothing: readings last as long as the page.
    }
    this.#readings = readStoredReadings(text);
    for (const listener of this.#listeners) listener();
  }

  /** @returns number in the list, from 0; one made from the same points takes the place of the older one */
  put(reading: Reading): number {
    const old = this.#readings.findIndex((one) => sameInput(one, reading));
    if (old >= 0) this.#readings[old] = reading;
    else this.#readings.push(reading);
    this.#write();
    return old >= 0 ? old : this.#readings.length - 1;
  }

  note(index: number, note: string): void {
    const reading = this.#readings[index];
    if (!reading) return;
    this.#readings[index] = { ...reading, note };
    this.#write();
  }

  takeOut(index: number): void {
    this.#readings.splice(index, 1);
    this.#write();
  }

  clear(): void {
    this.#readings = [];
    this.#write();
  }

  #write(): void {
    try {
      localStorage.setItem(this.#key, JSON.stringify(this.#readings));
    } catch {
      // See #read.
    }
    for (const listener of this.#listeners) listener();
  }
}
