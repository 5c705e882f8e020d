/** The table of findings: sorts, filters, keeps its state in the address, draws the small pictures as they are met. */
import type { Pictures } from '../../shared/artefacts/pictures.ts';
import type { Plates } from '../../shared/artefacts/plates.ts';
import { decisionWords, type FindingKind, kindName } from '../lib/finding-words.ts';
import {
  encodeTable,
  FIRST_STATE,
  fallsFirst,
  type JudgedState,
  matchesTable,
  parseTable,
  type SortKey,
  sortRows,
  type TableRow,
  type TableState,
} from '../lib/findings-filter.ts';
import { ReviewStore } from './review-store.ts';
import { TileCrop } from './tile-crop.ts';
import { TrioPicture } from './trio-picture.ts';

interface Row extends TableRow {
  readonly element: HTMLTableRowElement;
  readonly centre_um: [number, number];
  readonly box_um: [number, number, number, number];
  judged: JudgedState;
}

class FindingsTable extends HTMLElement {
  #rows: Row[] = [];
  #state: TableState = FIRST_STATE;
  #store: ReviewStore | null = null;

  connectedCallback(): void {
    this.#rows = [...this.querySelectorAll<HTMLTableRowElement>('tbody tr')].map(readRow);
    const form = this.#form;
    form.addEventListener('input', () => this.#set(this.#read(form)));
    form.addEventListener('submit', (event) => event.preventDefault());
    form.addEventListener('reset', (event) => {
      event.preventDefault();
      this.#set(FIRST_STATE);
      this.#write();
    });
    for (const button of this.querySelectorAll<HTMLButtonElement>('button[data-sort]')) {
      button.addEventListener('click', () => {
        const key = button.dataset.sort as SortKey;
        const falling = this.#state.sort === key ? !this.#state.falling : fallsFirst(key);
        this.#set({ ...this.#state, sort: key, falling });
        this.#write();
      });
    }
    this.querySelector('tbody')!.addEventListener('keydown', (event) => this.#key(event));
    addEventListener('hashchange', () => this.#restore());
    this.#restore();
    this.#watchPictures();
    this.#openReviews();
    this.dataset.ready = '';
  }

  get #form(): HTMLFormElement {
    return this.querySelector('form')!;
  }

  /** Also takes "#F0007": the row of that number stays in sight, whatever is chosen. */
  #restore(): void {
    this.#state = parseTable(/^#F\d+$/.test(location.hash) ? '' : location.hash);
    this.#write();
    this.#show();
  }

  #set(state: TableState): void {
    this.#state = state;
    history.replaceState(history.state, '', encodeTable(state) || location.pathname + location.search);
    this.#show();
  }

  #read(form: HTMLFormElement): TableState {
    const fields = new FormData(form);
    const text = (name: string): string => String(fields.get(name) ?? '');
    const [sort, order] = text('order').split(' ');
    return {
      layer: text('layer') || null,
      kind: (text('kind') || null) as FindingKind | null,
      odds: Number(text('odds')),
      net: text('net').trim(),
      judged: (text('judged') || null) as JudgedState | null,
      sort: (sort ?? FIRST_STATE.sort) as SortKey,
      falling: order === 'falling',
    };
  }

  /** Brings the form to the state. */
  #write(): void {
    const { layer, kind, odds, net, judged, sort, falling } = this.#state;
    const values: Record<string, string> = {
      layer: layer ?? '',
      kind: kind ?? '',
      odds: String(odds),
      net,
      judged: judged ?? '',
      order: `${sort} ${falling ? 'falling' : 'rising'}`,
    };
    for (const [name, value] of Object.entries(values)) {
      const field = this.#form.elements.namedItem(name) as HTMLInputElement | HTMLSelectElement;
      // An address may ask for what is no choice of this list: it is added, so that the form tells the truth.
      if (field instanceof HTMLSelectElement && ![...field.options].some((o) => o.value === value)) {
        field.add(new Option(name === 'odds' ? `${value} in 100 or more` : value, value));
      }
      field.value = value;
    }
  }

  #show(): void {
    const body = this.querySelector('tbody')!;
    let shown = 0;
    const sorted = sortRows(this.#state, this.#rows);
    for (const row of sorted) {
      const match = matchesTable(this.#state, row);
      row.element.hidden = !match;
      if (match) shown++;
    }
    // A row that is moved loses the keyboard's focus: rows move only when their order changes, and it is given back.
    if (sorted.some(({ element }, n) => body.children[n] !== element)) {
      const focused = body.contains(document.activeElement) ? (document.activeElement as HTMLElement) : null;
      body.append(...sorted.map(({ element }) => element));
      focused?.focus({ preventScroll: true });
    }
    const all = this.#rows.length;
    const words = all === 1 ? 'finding' : 'findings';
    this.querySelector('[data-count]')!.textContent =
      shown === all ? `${all} ${words}` : `${shown} of ${all} ${words}`;
    this.querySelector<HTMLElement>('[data-none]')!.hidden = shown > 0;
    for (const head of this.querySelectorAll('th[data-sort]')) {
      const mine = head.getAttribute('data-sort') === this.#state.sort;
      if (mine) head.setAttribute('aria-sort', this.#state.falling ? 'descending' : 'ascending');
      else head.removeAttribute('aria-sort');
    }
  }

  /** Arrow keys lead from finding to finding, Home and End to the first and the last. */
  #key(event: KeyboardEvent): void {
    if (event.altKey || event.ctrlKey || event.metaKey || event.shiftKey) return;
    const links = [...this.querySelectorAll<HTMLAnchorElement>('tbody tr:not([hidden]) .id a')];
    const at = links.indexOf(document.activeElement as HTMLAnchorElement);
    if (at < 0) return;
    const to = { ArrowDown: at + 1, ArrowUp: at - 1, Home: 0, End: links.length - 1 }[event.key];
    const link = to === undefined ? undefined : links[to];
    if (!link) return;
    event.preventDefault();
    link.focus();
  }

  #watchPictures(): void {
    const { root = '' } = this.dataset;
    const paths = JSON.parse(this.dataset.paths ?? '{}') as Record<string, [string, string]>;
    const colours = JSON.parse(this.dataset.colours ?? '{}') as Record<string, string>;
    let painter: Promise<TrioPicture> | null = null;
    const load = async (): Promise<TrioPicture> => {
      const [plates, pictures] = await Promise.all([
        fetch(`${root}plates.json`).then((answer) => answer.json() as Promise<Plates>),
        fetch(`${root}pictures.json`).then((answer) => answer.json() as Promise<Pictures>),
      ]);
      return new TrioPicture(new TileCrop(root, plates.grid), plates.grid, pictures);
    };
    const watch = new IntersectionObserver(
      (entries) => {
        for (const entry of entries) {
          if (!entry.isIntersecting) continue;
          watch.unobserve(entry.target);
          const row = this.#rows.find((one) => one.element === entry.target)!;
          const pair = paths[row.layer];
          const cell = row.element.querySelector<HTMLElement>('.trio')!;
          if (!pair) {
            cell.textContent = 'no picture';
            continue;
          }
          painter ??= load();
          painter
            .then((trio) =>
              trio.draw({
                centreUm: row.centre_um,
                boxUm: row.box_um,
                paths: pair,
                colour: colours[row.layer] ?? '#ffffff',
                words: `${row.id}, ${kindName(row.kind)} on ${row.layer}`,
              }),
            )
            .then(
              (canvases) => cell.replaceChildren(...canvases),
              () => {
                cell.textContent = 'no picture';
              },
            );
        }
      },
      { rootMargin: '300px' },
    );
    for (const row of this.#rows) watch.observe(row.element);
  }

  async #openReviews(): Promise<void> {
    const { root = '', folio, scan, reviews } = this.dataset;
    const plates = (await fetch(`${root}plates.json`).then((answer) => answer.json())) as Plates;
    this.#store = await ReviewStore.open({
      key: folio ?? '',
      scan: scan ?? '',
      pixelUm: plates.grid.pixel_um,
      recorded: reviews ?? null,
    });
    const button = this.querySelector<HTMLButtonElement>('[data-act="save-reviews"]')!;
    button.addEventListener('click', () => this.#store!.save());
    const again = (): void => {
      for (const row of this.#rows) this.#writeReview(row);
      button.hidden = this.#store!.unsaved === 0;
      this.#show();
    };
    this.#store.onChange(again);
    again();
  }

  #writeReview(row: Row): void {
    const review = this.#store!.latest(row);
    row.judged = review?.decision ?? 'open';
    const cell = row.element.querySelector<HTMLElement>('[data-judgement]')!;
    const soft = (words: string, name = 'soft'): HTMLElement => {
      const span = document.createElement('span');
      span.className = name;
      span.textContent = words;
      return span;
    };
    if (!review) cell.replaceChildren(soft('not yet'));
    else {
      const own = this.#store!.isOwn(row) ? ', by you' : '';
      cell.replaceChildren(
        `${decisionWords(review.decision)}, ${review.date}${own}`,
        ...(review.comment ? [soft(review.comment, 'soft comment')] : []),
      );
    }
  }
}

function readRow(element: HTMLTableRowElement): Row {
  const { layer = '', level, kind, probability, area, nets, judged, centre = '', box = '' } = element.dataset;
  return {
    element,
    id: element.id,
    layer,
    level: Number(level),
    kind: kind as FindingKind,
    probability: Number(probability),
    areaUm2: Number(area),
    nets: JSON.parse(nets ?? '[]'),
    judged: judged as JudgedState,
    centre_um: centre.split(',').map(Number) as [number, number],
    box_um: box.split(',').map(Number) as [number, number, number, number],
  };
}

customElements.define('findings-table', FindingsTable);
