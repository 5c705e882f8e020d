/** What `check` prints: rows with a label, tables, headings; wrapped so that they are read on any terminal. */

export type Entry =
  | { readonly kind: 'heading'; readonly text: string }
  | { readonly kind: 'row'; readonly label: string; readonly text: string }
  | {
      readonly kind: 'table';
      readonly head: readonly string[];
      readonly rows: readonly (readonly string[])[];
    };

export const heading = (text: string): Entry => ({ kind: 'heading', text });
export const row = (label: string, text: string): Entry => ({ kind: 'row', label, text });
/** Something a person should look at before building. */
export const doubt = (text: string): Entry => row('doubt', text);
export const table = (head: readonly string[], rows: readonly (readonly string[])[]): Entry => ({
  ...{ kind: 'table', head, rows },
});

export const doubtsIn = (entries: readonly Entry[]): number =>
  entries.filter((entry) => entry.kind === 'row' && entry.label === 'doubt').length;

const WIDTH = 100;
const LABEL = 16;

/** @returns lines of text, without colour */
export function printed(entries: readonly Entry[]): string[] {
  return entries.flatMap((entry, n) => {
    if (entry.kind === 'heading') return n === 0 ? [entry.text] : ['', entry.text];
    if (entry.kind === 'table') return ['', ...tableLines(entry.head, entry.rows)];
    const after = n > 0 && entries[n - 1]!.kind === 'table' ? [''] : [];
    const [first = '', ...rest] = wrapped(entry.text, WIDTH - LABEL - 2);
    return [
      ...after,
      `  ${entry.label.padEnd(LABEL)}${first}`,
      ...rest.map((line) => `${' '.repeat(LABEL + 2)}${line}`),
    ];
  });
}

function wrapped(text: string, width: number): string[] {
  const lines: string[] = [];
  let line = '';
  for (const word of text.split(' ')) {
    if (line !== '' && line.length + 1 + word.length > width) {
      lines.push(line);
      line = word;
    } else line = line === '' ? word : `${line} ${word}`;
  }
  return [...lines, line];
}

/** A whole number, or a dash: what stands flush right. */
const isNumber = (cell: string): boolean => /^[\d,]+$|^-?$/.test(cell);

function tableLines(head: readonly string[], rows: readonly (readonly string[])[]): string[] {
  const columns = head.map((name, c) => ({
    width: Math.max(name.length, ...rows.map((cells) => cells[c]!.length)),
    right: rows.length > 0 && rows.every((cells) => isNumber(cells[c]!)),
  }));
  const line = (cells: readonly string[]): string =>
    `  ${cells.map((cell, c) => (columns[c]!.right ? cell.padStart(columns[c]!.width) : cell.padEnd(columns[c]!.width))).join('   ')}`.trimEnd();
  return [line(head), ...rows.map(line)];
}

/** 36,181 */
export const counted = (n: number): string => n.toLocaleString('en-GB');
/** Micrometres with two decimals, one from 100 up. */
export const um = (value: number): string => value.toFixed(Math.abs(value) < 100 ? 2 : 1);
/** A measured or stated number without the dust of binary fractions. */
export const plain = (value: number): string => String(Number(value.toPrecision(6)));
