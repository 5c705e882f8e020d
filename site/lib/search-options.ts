/** What is searched and how: the same for the index at build time and for the page that reads it. */
import type { Options } from 'minisearch';

export type SearchKind = 'page' | 'layer' | 'lesson' | 'term' | 'finding';

export interface SearchDocument {
  readonly id: number;
  readonly kind: SearchKind;
  readonly title: string;
  readonly text: string;
  /** Below the top of the folio. */
  readonly address: string;
  /** A line that says where this is. */
  readonly place: string;
}

export const SEARCH_OPTIONS: Options<SearchDocument> = {
  fields: ['title', 'text'],
  storeFields: ['kind', 'title', 'address', 'place'],
  searchOptions: {
    prefix: true,
    fuzzy: (term) => (term.length > 4 ? 0.2 : false),
    boost: { title: 3 },
    combineWith: 'AND',
  },
};

/** A net or a cell as a shard of names holds it. */
export interface NameEntry {
  readonly name: string;
  readonly kind: 'net' | 'cell';
  readonly address: string;
  readonly place: string;
}

export interface NameShard {
  /** What all words of the shard begin with. */
  readonly prefix: string;
  /** Whether they end there, too. */
  readonly whole: boolean;
  readonly file: string;
  /** Names left out because too many have one and the same word. */
  readonly more: number;
}
