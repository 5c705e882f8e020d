/** Decisions of this browser's reader, beside those that the folio already records. */
import type { Review, Reviews } from '../../shared/artefacts/reviews.ts';
import { csvText } from '../../shared/csv.ts';
import { type Judged, matchReviews } from '../../shared/review-match.ts';
import { mergeReviews, readStored, reviewRows } from '../lib/review-list.ts';

export interface StoreOptions {
  /** Name under which the browser keeps them; one for each folio. */
  readonly key: string;
  readonly scan: string;
  readonly pixelUm: number;
  /** Address of reviews.json, where the folio has one. */
  readonly recorded: string | null;
}

export class ReviewStore {
  readonly #options: StoreOptions;
  #recorded: readonly Review[] = [];
  #own: Review[] = [];
  #listeners: (() => void)[] = [];

  private constructor(options: StoreOptions) {
    this.#options = options;
  }

  static async open(options: StoreOptions): Promise<ReviewStore> {
    const store = new ReviewStore(options);
    if (options.recorded) {
      const answer = await fetch(options.recorded);
      if (answer.ok) store.#recorded = ((await answer.json()) as Reviews).reviews;
    }
    store.#read();
    // Another tab of the same folio may decide, too.
    addEventListener('storage', (event) => {
      if (event.key === options.key) store.#read();
    });
    return store;
  }

  #read(): void {
    let text: string | null = null;
    try {
      text = localStorage.getItem(this.#options.key);
    } catch {
      // A browser that keeps nothing: decisions last as long as the page.
    }
    this.#own = readStored(text, this.#recorded);
    for (const listener of this.#listeners) listener();
  }

  onChange(listener: () => void): void {
    this.#listeners.push(listener);
  }

  /** Decisions that only this browser knows. */
  get unsaved(): number {
    return this.#own.length;
  }

  /** The decision that holds for a finding now: the reader's own, else the newest of the record. */
  latest(finding: Judged): Review | null {
    return this.#of(finding, this.#own).at(-1) ?? this.#of(finding, this.#recorded).at(-1) ?? null;
  }

  isOwn(finding: Judged): boolean {
    return this.#of(finding, this.#own).length > 0;
  }

  #of(finding: Judged, reviews: readonly Review[]): readonly Review[] {
    const { scan, pixelUm } = this.#options;
    return matchReviews(scan, [finding], reviews, pixelUm).byFinding.get(finding.id) ?? [];
  }

  put(
    finding: Judged & { kind: Review['kind'] },
    decision: Review['decision'],
    comment: string,
    date: string,
  ): void {
    const old = this.#of(finding, this.#own);
    this.#own = this.#own.filter((review) => !old.includes(review));
    this.#own.push({
      scan: this.#options.scan,
      id: finding.id,
      kind: finding.kind,
      layer: finding.layer,
      x_um: finding.centre_um[0],
      y_um: finding.centre_um[1],
      decision,
      comment: comment.trim(),
      date,
    });
    this.#write();
  }

  /** Forgets the reader's own decision; what the folio records stands again. */
  takeBack(finding: Judged): void {
    const old = this.#of(finding, this.#own);
    this.#own = this.#own.filter((review) => !old.includes(review));
    this.#write();
  }

  #write(): void {
    try {
      localStorage.setItem(this.#options.key, JSON.stringify(this.#own));
    } catch {
      // See #read.
    }
    for (const listener of this.#listeners) listener();
  }

  /** The whole file for the campaign: what was recorded, and what was decided here. */
  csv(): string {
    const [header, rows] = reviewRows(mergeReviews(this.#recorded, this.#own));
    return csvText(header, rows);
  }

  save(): void {
    const address = URL.createObjectURL(new Blob([this.csv()], { type: 'text/csv;charset=utf-8' }));
    const link = document.createElement('a');
    link.href = address;
    link.download = 'reviews.csv';
    link.click();
    setTimeout(() => URL.revokeObjectURL(address), 10_000);
  }
}

/** Today where the reader is, as ISO 8601 writes it. */
export function today(now = new Date()): string {
  const two = (value: number): string => String(value).padStart(2, '0');
  return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
}
