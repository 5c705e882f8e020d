/** The page of searching: loads the index with the first letter, names by their beginnings. All words are text, never markup. */
import MiniSearch from 'minisearch';
import { matches, shardsFor } from '../lib/name-shards.ts';
import { formatCount } from '../lib/numbers.ts';
import {
  type NameEntry,
  type NameShard,
  SEARCH_OPTIONS,
  type SearchDocument,
} from '../lib/search-options.ts';

type Hit = Pick<SearchDocument, 'title' | 'address' | 'place'>;

const GROUPS = [
  ['page', 'Pages'],
  ['layer', 'Layers'],
  ['net', 'Nets'],
  ['cell', 'Cells'],
  ['finding', 'Findings'],
  ['lesson', 'Lessons'],
  ['term', 'Words'],
] as const;
const SHOWN = 12;
/** One letter may begin names in many files; the first are enough to go on typing. */
const MOST_FILES = 3;
const TYPING_MS = 120;

class FolioSearch extends HTMLElement {
  #index: Promise<MiniSearch<SearchDocument>> | null = null;
  #shards: Promise<NameShard[]> | null = null;
  readonly #files = new Map<string, Promise<NameEntry[]>>();
  #turn = 0;
  #timer = 0;

  connectedCallback(): void {
    const input = this.querySelector('input')!;
    input.value = new URLSearchParams(location.search).get('q') ?? '';
    input.addEventListener('focus', () => void this.#load(), { once: true });
    input.addEventListener('input', () => {
      clearTimeout(this.#timer);
      this.#timer = window.setTimeout(() => void this.#search(input.value), TYPING_MS);
    });
    this.querySelector('form')!.addEventListener('submit', (event) => {
      event.preventDefault();
      void this.#search(input.value);
    });
    if (input.value !== '') void this.#search(input.value);
  }

  async #get<T>(path: string): Promise<T> {
    const answer = await fetch(`${this.dataset.root}search/${path}`);
    if (!answer.ok) throw new Error(`${path}: ${answer.status}`);
    return answer.json() as Promise<T>;
  }

  #load() {
    this.#index ??= this.#get<object>('pages.json').then((json) =>
      MiniSearch.loadJS<SearchDocument>(json as never, SEARCH_OPTIONS),
    );
    this.#shards ??= this.#get<NameShard[]>('names/index.json');
    return Promise.all([this.#index, this.#shards]);
  }

  async #names(query: string, shards: readonly NameShard[]): Promise<{ found: NameEntry[]; more: boolean }> {
    const word = query.trim().toLowerCase();
    // The whole of it as one name, or else its longest word.
    const parts = word.split(/[^\p{L}\p{N}]+/u).sort((a, b) => b.length - a.length);
    const wanted = [...new Set([...shardsFor(shards, word), ...shardsFor(shards, parts[0] ?? '')])];
    const files = await Promise.all(
      wanted.slice(0, MOST_FILES).map(({ file }) => {
        let held = this.#files.get(file);
        if (!held) {
          held = this.#get<NameEntry[]>(`names/${file}`);
          this.#files.set(file, held);
        }
        return held;
      }),
    );
    const found = new Map(
      files
        .flat()
        .filter((entry) => matches(entry.name, word))
        .map((entry) => [entry.address + entry.name, entry]),
    );
    const more = wanted.length > MOST_FILES || wanted.some((shard) => shard.more > 0);
    return { found: [...found.values()], more };
  }

  async #search(query: string): Promise<void> {
    const turn = ++this.#turn;
    const results = this.querySelector('[data-results]')!;
    const count = this.querySelector('[data-count]')!;
    history.replaceState(
      history.state,
      '',
      query.trim() ? `?q=${encodeURIComponent(query.trim())}` : location.pathname,
    );
    if (query.trim() === '') {
      results.replaceChildren();
      count.textContent = '';
      return;
    }
    try {
      const [index, shards] = await this.#load();
      const names = await this.#names(query, shards);
      // A slower answer to an older question must not replace a newer one.
      if (turn !== this.#turn) return;
      const hits = new Map<string, Hit[]>();
      const put = (kind: string, hit: Hit): void => void hits.set(kind, [...(hits.get(kind) ?? []), hit]);
      for (const hit of index.search(query)) put(hit.kind, hit as unknown as Hit);
      for (const { name, kind, address, place } of names.found) put(kind, { title: name, address, place });
      const all = [...hits.values()].reduce((sum, group) => sum + group.length, 0);
      count.textContent =
        all === 0
          ? `Nothing is called “${query.trim()}”.`
          : `${formatCount(all)}${names.more ? ' or more' : ''} found`;
      results.replaceChildren(...GROUPS.flatMap(([kind, words]) => this.#group(words, hits.get(kind) ?? [])));
    } catch {
      if (turn === this.#turn)
        count.textContent = 'The index could not be loaded. Try again when the connection is back.';
    }
  }

  #group(words: string, hits: readonly Hit[]): HTMLElement[] {
    if (hits.length === 0) return [];
    const section = document.createElement('section');
    const title = document.createElement('h2');
    title.textContent = words;
    const list = document.createElement('ol');
    list.className = 'hits';
    list.append(...hits.slice(0, SHOWN).map((hit) => this.#hit(hit)));
    section.append(title, list);
    if (hits.length > SHOWN) {
      const rest = document.createElement('button');
      rest.type = 'button';
      rest.className = 'plain-button';
      rest.textContent = `${formatCount(hits.length - SHOWN)} more`;
      rest.addEventListener('click', () => {
        const more = hits.slice(SHOWN).map((hit) => this.#hit(hit));
        list.append(...more);
        rest.remove();
        more[0]?.querySelector('a')?.focus();
      });
      section.append(rest);
    }
    return [section];
  }

  #hit({ title, address, place }: Hit): HTMLElement {
    const item = document.createElement('li');
    const link = document.createElement('a');
    link.href = `${this.dataset.root}${address}`;
    link.textContent = title;
    const where = document.createElement('span');
    where.className = 'small soft';
    where.textContent = place;
    item.append(link, ' ', where);
    return item;
  }
}

customElements.define('folio-search', FolioSearch);
