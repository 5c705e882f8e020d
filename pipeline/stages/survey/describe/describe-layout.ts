/** The layout as `check` tells it: what is drawn, which process layer each drawn layer feeds, and what feeds none. */
import type { Process } from '../../../../shared/artefacts/process.ts';
import type { DrawnLayer } from '../../../formats/layout.ts';
import { formatBytes } from '../../../output/progress.ts';
import type { LoadedLayout } from '../load-layout.ts';
import { counted, type Entry, heading, row, table, um } from './entries.ts';

/** Drawn layers of no process layer that are listed; the rest are counted. */
const LISTED = 24;

export function describeLayout(layout: LoadedLayout, process: Process | null): Entry[] {
  const box = layout.boxUm;
  const entries: Entry[] = [
    heading(`Layout ${layout.file}`),
    row(
      'format',
      `${layout.layout.format.toUpperCase()}, ${formatBytes(layout.bytes)}, ${counted(layout.layout.cells.size)} ${layout.layout.cells.size === 1 ? 'cell' : 'cells'}, top ${layout.top}`,
    ),
    row(
      'extent',
      box
        ? `${um(box[2] - box[0])} x ${um(box[3] - box[1])} µm: x ${um(box[0])} to ${um(box[2])}, y ${um(box[1])} to ${um(box[3])}`
        : 'empty',
    ),
    row('labels', labelWords(layout, process)),
    ...layout.layout.notes.map((note) => row('note', note)),
  ];
  if (process) entries.push(stackTable(layout, process));
  else entries.push(...plainTable(layout));
  const unused = layout.fit?.unused ?? [];
  if (process && unused.length > 0) {
    entries.push(
      heading(
        '  Drawn, but of no process layer. Wells, implants, pins and outlines are normal here; a metal is not.',
      ),
      table(
        ['drawn', 'shapes', ''],
        unused
          .slice(0, LISTED)
          .map(({ drawn, shapes }) => [drawn, counted(shapes), relation(drawn, process)]),
      ),
    );
    if (unused.length > LISTED) entries.push(row('', `and ${unused.length - LISTED} more`));
  }
  return entries;
}

function stackTable(layout: LoadedLayout, process: Process): Entry {
  const sum = (drawn: readonly string[], which: 'stored' | 'flat'): number =>
    drawn.reduce((total, d) => total + (layout.shapes.get(d as DrawnLayer)?.[which] ?? 0), 0);
  const hasFill = process.layers.some((layer) => (layer.fill ?? []).length > 0);
  return table(
    [
      'process layer',
      'height, µm',
      'drawn as',
      'shapes stored',
      'opened out',
      ...(hasFill ? ['fill shapes'] : []),
    ],
    [...process.layers].reverse().map((layer) => {
      const fill = layer.fill ?? [];
      return [
        layer.name,
        `${um(layer.bottom_um)} to ${um(layer.bottom_um + layer.thickness_um)}`,
        layer.drawn.length > 0 ? layer.drawn.join(' ') : 'not drawn',
        layer.drawn.length > 0 ? counted(sum(layer.drawn, 'stored')) : '-',
        layer.drawn.length > 0 ? counted(sum(layer.drawn, 'flat')) : '-',
        ...(hasFill ? [fill.length > 0 ? counted(sum(fill, 'flat')) : '-'] : []),
      ];
    }),
  );
}

/** Without a process table every drawn layer is listed: from it one writes the table. */
function plainTable(layout: LoadedLayout): Entry[] {
  const rows = [...layout.shapes].sort(([a], [b]) => byNumber(a, b));
  return [
    table(
      ['drawn', 'shapes stored', 'opened out'],
      rows.map(([drawn, { stored, flat }]) => [drawn, counted(stored), counted(flat)]),
    ),
    row('process', 'no process table says which of these are metals and vias'),
  ];
}

function byNumber(a: string, b: string): number {
  const [p, q] = [a.split('/').map(Number), b.split('/').map(Number)];
  return p[0]! - q[0]! || p[1]! - q[1]!;
}

/** A datatype that was forgotten shows by its layer number. */
function relation(drawn: string, process: Process): string {
  const [number] = drawn.split('/');
  const same = process.layers.find((layer) => layer.drawn.some((d) => d.split('/')[0] === number));
  return same ? `layer number of ${same.name} (${same.drawn.join(' ')})` : '';
}

/** Labels as stored, by drawn layer: net names come from those that a process layer names. */
function labelWords(layout: LoadedLayout, process: Process | null): string {
  const counts = new Map<string, number>();
  for (const cell of layout.layout.cells.values())
    for (const label of cell.labels) counts.set(label.drawn, (counts.get(label.drawn) ?? 0) + 1);
  if (counts.size === 0) return 'none: nets will have numbers, not names';
  const naming = new Set(process?.layers.flatMap((layer) => layer.labels ?? []));
  const list = (wanted: boolean): string =>
    [...counts]
      .filter(([drawn]) => naming.has(drawn as DrawnLayer) === wanted)
      .sort(([a], [b]) => byNumber(a, b))
      .map(([drawn, n]) => `${drawn} (${counted(n)})`)
      .join(', ');
  if (!process) return list(false);
  const [used, free] = [list(true), list(false)];
  return [
    used
      ? `names for nets on ${used}`
      : 'none that a process layer names as its labels, so nets will have numbers',
    ...(free ? [`of no process layer: ${free}`] : []),
  ].join('; ');
}
