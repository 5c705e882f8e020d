/** reviews.csv of a campaign: what persons decided about the findings of an earlier build. */
import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { findingKinds } from '../../../shared/artefacts/findings.ts';
import { nearest } from '../../../shared/artefacts/known-keys.ts';
import {
  decisions,
  type Review,
  type Reviews,
  reviewColumns,
  reviewSchema,
} from '../../../shared/artefacts/reviews.ts';
import { type CsvRow, parseCsv, textOfCell } from '../../../shared/csv.ts';
import { InputFault } from '../../../shared/errors.ts';

export const REVIEWS_FILE = 'reviews.csv';

/**
 * @param folder of the campaign
 * @param scans ids of its scans; a review of another one is a fault
 * @param accept is given the file before it is read, and throws where it may not be
 * @returns null where the campaign has no such file
 * @throws InputFault naming the line and the column
 */
export async function readReviews(
  folder: string,
  scans: readonly string[],
  accept: (file: string) => Promise<void> = async () => {},
): Promise<Reviews | null> {
  const file = join(folder, REVIEWS_FILE);
  await accept(file);
  let text: string;
  try {
    text = await readFile(file, 'utf8');
  } catch (cause) {
    if ((cause as NodeJS.ErrnoException).code === 'ENOENT') return null;
    throw new InputFault(
      {
        tag: 'no-permission',
        file: REVIEWS_FILE,
        expected: 'a file that can be read',
        found: 'one that can not',
        remedy: 'Change its permissions, or take it out of the campaign.',
      },
      { cause },
    );
  }
  return { version: 1, source: REVIEWS_FILE, reviews: parseReviews(text, scans) };
}

/** @throws InputFault naming the line and the column */
export function parseReviews(text: string, scans: readonly string[]): Review[] {
  const rows = parseCsv(text, REVIEWS_FILE);
  const columns = headerOf(rows[0]);
  return rows.slice(1).map((row) => {
    if (row.cells.length !== columns.length) {
      throw fault(row.line, undefined, `${columns.length} cells as in the header`, `${row.cells.length}`);
    }
    const cell = (name: Column): string => row.cells[columns.indexOf(name)]!.trim();
    return review(row.line, cell, scans);
  });
}

type Column = (typeof reviewColumns)[number];

function headerOf(row: CsvRow | undefined): Column[] {
  const header = `the header ${reviewColumns.join(',')}`;
  if (!row) throw fault(1, undefined, header, 'an empty file');
  const names = row.cells.map((cell) => cell.trim().toLowerCase());
  const missing = reviewColumns.find((name) => !names.includes(name));
  if (missing) throw fault(row.line, undefined, header, `no column "${missing}"`);
  const odd = names.find((name, n) => !reviewColumns.includes(name as Column) || names.indexOf(name) < n);
  if (odd !== undefined)
    throw fault(row.line, undefined, header, `the column "${odd}", unknown or there twice`);
  return names as Column[];
}

function review(line: number, cell: (name: Column) => string, scans: readonly string[]): Review {
  const oneOf = <T extends string>(name: Column, words: readonly T[]): T => {
    const value = cell(name);
    const known = words.find((word) => word === value);
    if (known !== undefined) return known;
    const near = nearest(value, words);
    throw fault(
      line,
      name,
      `one of ${words.join(', ')}${near ? ` (the nearest is "${near}")` : ''}`,
      JSON.stringify(value),
    );
  };
  const micrometres = (name: Column): number => {
    const value = cell(name);
    const number = Number(value);
    if (value === '' || !Number.isFinite(number)) {
      throw fault(line, name, 'a number of micrometres, decimals with a point', JSON.stringify(value));
    }
    return number;
  };
  const some = (name: Column): string => {
    const value = textOfCell(cell(name));
    if (value === '') throw fault(line, name, 'a value', 'nothing');
    return value;
  };
  const read = {
    scan: oneOf('scan', scans),
    id: some('id'),
    kind: oneOf('kind', findingKinds),
    layer: some('layer'),
    x_um: micrometres('x_um'),
    y_um: micrometres('y_um'),
    decision: oneOf('decision', decisions),
    comment: textOfCell(cell('comment')),
    date: cell('date'),
  };
  const checked = reviewSchema.safeParse(read);
  if (checked.success) return checked.data;
  const issue = checked.error.issues[0]!;
  const name = String(issue.path[0]) as Column;
  const expected =
    name === 'date' ? 'a date such as 2026-03-31' : name === 'comment' ? 'at most 2000 signs' : issue.message;
  throw fault(line, name, expected, JSON.stringify(cell(name).slice(0, 40)));
}

const fault = (line: number, column: Column | undefined, expected: string, found: string): InputFault =>
  new InputFault({
    tag: 'schema',
    file: REVIEWS_FILE,
    place: column ? `line ${line}, ${column}` : `line ${line}`,
    expected,
    found,
    remedy: column
      ? 'Correct the cell, or take the line out.'
      : 'Correct the line; the folio writes such a file under "Save reviews.csv".',
  });
