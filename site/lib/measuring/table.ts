/** Readings as a table: one row for each value, what belongs to the reading repeated on each. */
import type { CsvRow, CsvValue } from '../../../shared/csv.ts';
import { csvText, textOfCell } from '../../../shared/csv.ts';
import { InputFault } from '../../../shared/errors.ts';
import { type PointUm, type Reading, type ReadingKind, TOOLS } from './reading.ts';

export const READING_COLUMNS = [
  'reading',
  'scan',
  'frame',
  'kind',
  'layer',
  'plate',
  'z_um',
  'quantity',
  'value',
  'unit',
  'half_width_95',
  'drawn',
  'resolution_um',
  'points_um',
  'average_um',
  'pointing_um',
  'method',
  'software',
  'made',
  'note',
  'doubts',
] as const;

const optional = (value: number | null): CsvValue => value ?? '';

export function readingsCsv(readings: readonly Reading[]): string {
  return csvText(
    READING_COLUMNS,
    readings.flatMap((one, n) =>
      one.values.map((value): CsvValue[] => [
        ...[n + 1, one.scan, one.frame, one.kind, one.layer ?? '', one.plate, one.z_um],
        ...[value.name, value.value, value.unit, optional(value.expanded), optional(value.drawn)],
        ...[optional(one.resolution_um), one.points_um.map((point) => point.join(' ')).join('; ')],
        ...[
          optional(one.average_um),
          optional(one.pointing_um),
          one.method,
          one.software,
          one.made,
          one.note,
          one.doubts.join(' | '),
        ],
      ]),
    ),
  );
}

/**
 * Rows of such a table back to readings.
 * @throws InputFault for a header or a cell that is not of such a table, with the line
 */
export function readingsOfRows(rows: readonly CsvRow[], file: string): Reading[] {
  const [header, ...body] = rows;
  const at = new Map(header?.cells.map((name, n) => [textOfCell(name).trim(), n]));
  const missing = READING_COLUMNS.find((name) => !at.has(name));
  if (!header || missing)
    throw new InputFault({
      ...{ tag: 'schema', file, place: `line ${header?.line ?? 1}`, expected: `a column "${missing}"` },
      found: header ? header.cells.join(', ').slice(0, 80) : 'an empty file',
      remedy: 'Read in a table that was saved by this page, or its JSON.',
    });
  const readings = new Map<string, Reading>();
  for (const row of body) {
    const cell = (name: (typeof READING_COLUMNS)[number]): string =>
      textOfCell(row.cells[at.get(name)!] ?? '');
    const fault = (name: string, expected: string, found: string): InputFault =>
      new InputFault({
        ...{
          tag: 'schema',
          file,
          place: `line ${row.line}, column ${name}`,
          expected,
          found: JSON.stringify(found),
        },
        remedy: 'Correct the cell, or take the row out.',
      });
    const number = (name: (typeof READING_COLUMNS)[number]): number => {
      const text = cell(name).trim();
      const value = text === '' ? Number.NaN : Number(text);
      if (!Number.isFinite(value)) throw fault(name, 'a number', text);
      return value;
    };
    const maybe = (name: (typeof READING_COLUMNS)[number]): number | null =>
      cell(name).trim() === '' ? null : number(name);
    const kind = TOOLS.find((tool) => tool.kind === cell('kind'))?.kind as ReadingKind | undefined;
    if (!kind) throw fault('kind', `one of ${TOOLS.map((tool) => tool.kind).join(', ')}`, cell('kind'));
    const frame = cell('frame');
    if (frame !== 'die' && frame !== 'scan') throw fault('frame', 'die or scan', frame);
    const value = {
      ...{ name: cell('quantity'), value: number('value'), unit: cell('unit') },
      ...{ expanded: maybe('half_width_95'), drawn: maybe('drawn') },
    };
    const key = `${cell('reading')} ${cell('scan')} ${cell('points_um')} ${kind}`;
    const open = readings.get(key);
    if (open) {
      open.values.push(value);
      continue;
    }
    const points_um = cell('points_um')
      .split(';')
      .map((text): PointUm => {
        const parts = text.trim().split(/\s+/).map(Number);
        if (parts.length !== 3 || !parts.every(Number.isFinite))
          throw fault('points_um', 'x y z of each point, points apart by ";"', text);
        return parts as PointUm;
      });
    readings.set(key, {
      ...{ kind, scan: cell('scan'), frame, layer: cell('layer') || null, plate: number('plate') },
      ...{
        z_um: number('z_um'),
        points_um,
        average_um: maybe('average_um'),
        pointing_um: maybe('pointing_um'),
      },
      values: [value],
      ...{ resolution_um: maybe('resolution_um'), method: cell('method'), software: cell('software') },
      ...{
        made: cell('made'),
        note: cell('note'),
        doubts: cell('doubts') ? cell('doubts').split(' | ') : [],
      },
    });
  }
  return [...readings.values()];
}
