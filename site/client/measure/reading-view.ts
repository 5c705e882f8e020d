/** One reading in words: value, place, profile, doubts, and how it was measured. */
import type { PlateGrid } from '../../../shared/frames.ts';
import { greysOfWindow, type Trace } from '../../lib/measuring/evaluate.ts';
import { type Reading, toolOf } from '../../lib/measuring/reading.ts';
import { besideWords, drawnWords, METHOD_WORDS, valueWords } from '../../lib/measuring/words.ts';
import { formatLength, formatUm } from '../../lib/numbers.ts';
import { traceFigure } from './trace-figure.ts';

export interface ReadingContext {
  readonly number: number;
  readonly trace: Trace | null;
  readonly grid: PlateGrid;
  readonly stepUm: number;
  readonly grey: { readonly unit: string; readonly black: number; readonly white: number };
  readonly page: string | undefined;
}

export function showReading(box: HTMLElement, reading: Reading | null, context: ReadingContext): void {
  const el = <T extends HTMLElement = HTMLElement>(name: string): T =>
    box.querySelector<T>(`[data-m="${name}"]`)!;
  el('one').hidden = reading === null;
  if (!reading) return;
  const [first, ...others] = reading.values;
  el('title').textContent = `${context.number} ${toolOf(reading.kind).name}`;
  const nominal = reading.kind === 'thickness';
  el('value').textContent = nominal
    ? `${first!.drawn === null ? '' : `nominal ${drawnWords(first!.drawn)}, `}imaged ${valueWords(first!)}`
    : besideWords(first!);
  const facts: [string, string][] = [
    ...others.map((value): [string, string] => [value.name, besideWords(value)]),
    [
      'resolution',
      reading.resolution_um === null
        ? 'not known'
        : `${formatLength(reading.resolution_um)} (10–90 % of an edge)`,
    ],
    ['layer', reading.layer ?? 'between layers'],
    ['plate', `${reading.plate}, z = ${formatUm(reading.z_um)}`],
    ['from', pointWords(reading.points_um[0]!)],
    ...(reading.points_um.length > 1
      ? [['to', pointWords(reading.points_um.at(-1)!)] as [string, string]]
      : []),
    ...(reading.average_um === null
      ? []
      : [['averaged', formatLength(reading.average_um)] as [string, string]]),
    ['made', `${reading.made}, ${reading.software}`],
  ];
  el('facts').replaceChildren(
    ...facts.map(([name, words]) => {
      const row = document.createElement('div');
      const [dt, dd] = [document.createElement('dt'), document.createElement('dd')];
      dt.textContent = name;
      dd.textContent = words;
      row.append(dt, dd);
      return row;
    }),
  );
  const { trace } = context;
  const deep = reading.kind === 'thickness';
  el('figure').replaceChildren(
    ...(trace
      ? [
          traceFigure(
            trace,
            deep ? context.stepUm : context.grid.pixel_um,
            deep ? (value) => value : greysOfWindow(context.grey),
            context.grey.unit === 'arbitrary' ? 'grey' : context.grey.unit,
            deep ? 'nm upward' : 'nm along the path',
          ),
        ]
      : []),
  );
  el('doubts').replaceChildren(
    ...reading.doubts.map((doubt) => {
      const item = document.createElement('li');
      item.textContent = doubt;
      return item;
    }),
  );
  el<HTMLInputElement>('note').value = reading.note;
  const method = METHOD_WORDS[reading.kind];
  el('method-title').textContent = method.title;
  el('method').textContent = method.text;
  el('source').textContent = `Source: ${method.source}`;
  // Not there where the build measured nothing.
  const link = box.querySelector<HTMLAnchorElement>('[data-m="page"]');
  if (!link) return;
  link.hidden = !(context.page && method.build);
  if (!link.hidden) link.href = `${context.page}#method-${method.build}`;
}

const pointWords = (point: readonly [number, number, number]): string =>
  `${point[0].toFixed(3)}, ${point[1].toFixed(3)} µm`;
