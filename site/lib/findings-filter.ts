/** Which findings are shown and in which order, and how that stands in the address. Pure. */
import { type FindingKind, KIND_ORDER } from './finding-words.ts';

export const SORT_KEYS = ['odds', 'id', 'layer', 'kind', 'size', 'net'] as const;
export type SortKey = (typeof SORT_KEYS)[number];
export const JUDGED_STATES = ['open', 'accept', 'reject', 'comment'] as const;
export type JudgedState = (typeof JUDGED_STATES)[number];

export interface TableState {
  readonly layer: string | null;
  readonly kind: FindingKind | null;
  /** Least probability in hundredths, 0 to 100. */
  readonly odds: number;
  /** Part of a net name. */
  readonly net: string;
  readonly judged: JudgedState | null;
  readonly sort: SortKey;
  readonly falling: boolean;
}

/** What of a finding the table sorts and filters by. */
export interface TableRow {
  readonly id: string;
  readonly layer: string;
  /** Number of the layer, the silicon first. */
  readonly level: number;
  readonly kind: FindingKind;
  readonly probability: number;
  readonly areaUm2: number;
  readonly nets: readonly string[];
  readonly judged: JudgedState;
}

export const FIRST_STATE: TableState = {
  layer: null,
  kind: null,
  odds: 0,
  net: '',
  judged: null,
  sort: 'odds',
  falling: true,
};

/** The direction in which a column is most useful. */
export const fallsFirst = (key: SortKey): boolean => key === 'odds' || key === 'size' || key === 'layer';

/** Only what differs from the first state stands in the address. */
export function encodeTable(state: TableState): string {
  const parts = new URLSearchParams();
  if (state.layer !== null) parts.set('layer', state.layer);
  if (state.kind !== null) parts.set('kind', state.kind);
  if (state.odds > 0) parts.set('odds', String(state.odds));
  if (state.net !== '') parts.set('net', state.net);
  if (state.judged !== null) parts.set('judged', state.judged);
  if (state.sort !== FIRST_STATE.sort || state.falling !== FIRST_STATE.falling) {
    parts.set('sort', state.sort);
    parts.set('order', state.falling ? 'falling' : 'rising');
  }
  const text = parts.toString();
  return text === '' ? '' : `#${text}`;
}

/** Reads what is there and sound; a broken or missing part takes its first value. */
export function parseTable(fragment: string): TableState {
  const parts = new URLSearchParams(fragment.replace(/^#/, ''));
  const sort = SORT_KEYS.find((key) => key === parts.get('sort')) ?? FIRST_STATE.sort;
  const order = parts.get('order');
  const odds = Number(parts.get('odds') ?? 0);
  return {
    layer: parts.get('layer') || null,
    kind: KIND_ORDER.find((kind) => kind === parts.get('kind')) ?? null,
    odds: Number.isFinite(odds) ? Math.min(100, Math.max(0, Math.round(odds))) : 0,
    net: parts.get('net') ?? '',
    judged: JUDGED_STATES.find((one) => one === parts.get('judged')) ?? null,
    sort,
    falling: order === 'falling' ? true : order === 'rising' ? false : fallsFirst(sort),
  };
}

export function matchesTable(state: TableState, row: TableRow): boolean {
  const net = state.net.toLowerCase();
  return (
    (state.layer === null || row.layer === state.layer) &&
    (state.kind === null || row.kind === state.kind) &&
    // Odds are said in whole hundredths; the filter must agree with what is said.
    Math.round(100 * row.probability) >= state.odds &&
    (net === '' || row.nets.some((name) => name.toLowerCase().includes(net))) &&
    (state.judged === null || row.judged === state.judged)
  );
}

/** Sorted copy; what is equal stands by number. */
export function sortRows<R extends TableRow>(state: TableState, rows: readonly R[]): R[] {
  const by: Record<SortKey, (a: R, b: R) => number> = {
    odds: (a, b) => a.probability - b.probability,
    id: (a, b) => compareIds(a.id, b.id),
    layer: (a, b) => a.level - b.level,
    kind: (a, b) => KIND_ORDER.indexOf(a.kind) - KIND_ORDER.indexOf(b.kind),
    size: (a, b) => a.areaUm2 - b.areaUm2,
    net: (a, b) => (a.nets[0] ?? '\uffff').localeCompare(b.nets[0] ?? '\uffff'),
  };
  const sign = state.falling ? -1 : 1;
  return [...rows].sort((a, b) => sign * by[state.sort](a, b) || compareIds(a.id, b.id));
}

/** F10000 stands behind F9999. */
const compareIds = (a: string, b: string): number => a.length - b.length || (a < b ? -1 : a > b ? 1 : 0);
