/**
 * Tables as text: comma-separated values to be opened in a spreadsheet, and read back.
 *
 * @source RFC 4180, section 2: cells may stand in double quotes; inside them a double quote is doubled, and line
 * ends and separators are plain signs.
 */
import { InputFault } from './errors.ts';

export type CsvValue = string | number;

/** Signs that make a spreadsheet take a cell for a formula. @source OWASP, "CSV Injection" (2024) */
const FORMULA = /^[=+\-@\t\r]/;

/**
 * One cell. A number stays a number; a text that a spreadsheet would run as a formula gets an apostrophe in front,
 * and a text that begins with such an apostrophe gets one more, so that nothing is lost on the way back.
 */
export function csvCell(value: CsvValue): string {
  if (typeof value === 'number') return Number.isFinite(value) ? String(value) : '';
  const safe = FORMULA.test(value.replace(/^'+/, '')) ? `'${value}` : value;
  return /[",;\r\n\t]/.test(safe) || safe.trim() !== safe ? `"${safe.replaceAll('"', '""')}"` : safe;
}

/** The text that `csvCell` made safe, as it was. */
export const textOfCell = (cell: string): string =>
  cell.startsWith("'") && FORMULA.test(cell.replace(/^'+/, '')) ? cell.slice(1) : cell;

/** Rows below a header, with the line ends of RFC 4180. */
export const csvText = (header: readonly string[], rows: readonly (readonly CsvValue[])[]): string =>
  [header, ...rows].map((row) => `${row.map(csvCell).join(',')}\r\n`).join('');

export interface CsvRow {
  /** Line of the file in which the row begins, counted from 1. */
  readonly line: number;
  readonly cells: readonly string[];
}

const SEPARATORS = [',', ';', '\t'] as const;

/**
 * Rows of a table. Blank lines are passed over. The separator is the one that the first line uses most, as
 * spreadsheets write semicolons where the decimal sign is a comma.
 * @throws InputFault for a quote that is not closed, or signs behind a closing quote
 */
export function parseCsv(written: string, file: string): CsvRow[] {
  const text = written.replace(/^\uFEFF/, '');
  // Quoted cells may hold any sign and say nothing of the separator.
  const first = /^[^\r\n]*/.exec(text.replace(/^[\r\n]+/, '').replace(/"[^"]*"/g, ''))![0];
  const separator = SEPARATORS.reduce((best, sign) =>
    first.split(sign).length > first.split(best).length ? sign : best,
  );
  const rows: CsvRow[] = [];
  let cells: string[] = [];
  let line = 1;
  let begun = 1;
  let at = 0;
  const endRow = (): void => {
    if (cells.length > 1 || cells[0]!.trim() !== '') rows.push({ line: begun, cells });
    cells = [];
    begun = line;
  };
  while (at < text.length) {
    let cell = '';
    if (text[at] === '"') {
      const opened = line;
      let end = at + 1;
      for (; ; end++) {
        if (end >= text.length) throw quoteFault(file, opened, 'the end of the file');
        const sign = text[end]!;
        if (sign === '\n') line++;
        if (sign !== '"') cell += sign;
        else if (text[end + 1] === '"') cell += text[end++]!;
        else break;
      }
      at = end + 1;
      const next = text[at];
      if (next !== undefined && next !== separator && next !== '\r' && next !== '\n') {
        throw quoteFault(file, line, `${JSON.stringify(next)} behind the closing quote`);
      }
    } else {
      const from = at;
      while (at < text.length && text[at] !== separator && text[at] !== '\n' && text[at] !== '\r') at++;
      cell = text.slice(from, at);
    }
    cells.push(cell);
    if (text[at] === separator) {
      at++;
      // A separator at the very end of the file leaves one more, empty cell.
      if (at >= text.length) cells.push('');
      continue;
    }
    if (text[at] === '\r' && text[at + 1] === '\n') at++;
    at++;
    line++;
    endRow();
  }
  if (cells.length > 0) endRow();
  return rows;
}

const quoteFault = (file: string, line: number, found: string): InputFault =>
  new InputFault({
    tag: 'malformed',
    file,
    place: `line ${line}`,
    expected: 'text in double quotes, with a double quote inside it written twice',
    found,
    remedy: 'Close the quotes, or leave them out.',
  });
