/** The table inside a landmark file: which lines count, how they are separated, that all are of one width. */
import { InputFault } from '../../../shared/errors.ts';

export interface Row {
  /** Line in the file, counted from 1. */
  readonly line: number;
  /** Cells without the blanks and quotes around them. */
  readonly cells: readonly string[];
}

const SEPARATORS = [',', ';', '\t'] as const;
type Separator = (typeof SEPARATORS)[number];

/**
 * @param example a header line to show in messages.
 * @throws InputFault for a file without a header, a quote that is not closed, or a line of another width.
 */
export function checkedRows(text: string, file: string, example: string): { header: Row; rows: Row[] } {
  const lines = text
    .replace(/^\uFEFF/, '')
    .split(/\r\n|\n|\r/)
    .map((written, n) => ({ written, line: n + 1 }))
    .filter(({ written }) => written.trim() !== '' && !written.trimStart().startsWith('#'));
  const first = lines[0];
  if (!first)
    throw new InputFault({
      tag: 'schema',
      file,
      expected: `the header line ${example}`,
      found: 'no line that is not blank or a comment',
      remedy: 'Write the header and one line for each landmark.',
    });
  const separator = separatorOf(first.written);
  const row = (of: { written: string; line: number }): Row => ({
    line: of.line,
    cells: split(of.written, separator, of.line, file),
  });
  const header = row(first);
  const rows = lines.slice(1).map(row);
  for (const { line, cells } of rows) {
    if (cells.length === header.cells.length) continue;
    throw new InputFault({
      tag: 'malformed',
      file,
      place: `line ${line}`,
      expected: `${header.cells.length} cells as in the header, separated by ${NAMES[separator]}`,
      found: `${cells.length}`,
      remedy:
        separator === ',' && cells.length > header.cells.length
          ? 'Write decimals with a point, and put a name that holds a comma in double quotes.'
          : 'Give every column a value.',
    });
  }
  return { header, rows };
}

const NAMES: Record<Separator, string> = { ',': 'commas', ';': 'semicolons', '\t': 'tabs' };

/** The separator that the header uses most; spreadsheets write semicolons where the decimal sign is a comma. */
function separatorOf(header: string): Separator {
  const uses = (separator: Separator): number => header.split(separator).length;
  return SEPARATORS.reduce((best, separator) => (uses(separator) > uses(best) ? separator : best));
}

/** @source RFC 4180, section 2: cells may stand in double quotes, a double quote inside them is doubled. */
function split(written: string, separator: Separator, line: number, file: string): string[] {
  const cells: string[] = [];
  let cell = '';
  let open = false;
  for (let n = 0; n < written.length; n++) {
    const sign = written[n]!;
    if (open) {
      if (sign !== '"') cell += sign;
      else if (written[n + 1] === '"') cell += written[++n]!;
      else open = false;
    } else if (sign === separator) {
      cells.push(cell.trim());
      cell = '';
    } else if (sign === '"' && cell.trim() === '') {
      cell = '';
      open = true;
    } else cell += sign;
  }
  if (open)
    throw new InputFault({
      tag: 'malformed',
      file,
      place: `line ${line}`,
      expected: 'a closing double quote',
      found: 'the end of the line',
      remedy: 'Close the quotes, or leave them out.',
    });
  return [...cells, cell.trim()];
}
