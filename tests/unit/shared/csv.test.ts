/** Tables as text: against Python's csv module where it is installed, and back again without loss. */
import { spawnSync } from 'node:child_process';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { csvCell, csvText, parseCsv, textOfCell } from '../../../shared/csv.ts';
import { isFault } from '../../../shared/errors.ts';

const PYTHON = '/usr/bin/python3';
const hasPython = spawnSync(PYTHON, ['-c', 'import csv']).status === 0;
const seed = 20260107;

/** Cells of any signs that a table is likely to meet, quotes and line ends among them. */
const cell = fc.string({
  unit: fc.constantFrom(...'ab"\',;\t\n =+-@\r9.é'.split('')),
  maxLength: 12,
});

describe('csvCell', () => {
  // The list of signs is that of OWASP's page on CSV injection.
  for (const text of ['=1+1', '+1', '-1', '@SUM(A1)', '\t=1', '\r=1', '=cmd|" /C calc"!A0']) {
    it(`keeps a spreadsheet from running ${JSON.stringify(text)}`, () => {
      expect(csvCell(text).replace(/^"/, '')).toMatch(/^'/);
    });
  }

  it('leaves numbers and plain texts alone', () => {
    expect([csvCell(-3.25), csvCell('clk_div3'), csvCell("don't"), csvCell(Number.NaN)]).toEqual([
      '-3.25',
      'clk_div3',
      "don't",
      '',
    ]);
  });

  it('quotes as RFC 4180, section 2, points 6 and 7', () => {
    expect(csvCell('a,b')).toBe('"a,b"');
    expect(csvCell('aaa"bbb')).toBe('"aaa""bbb"');
    expect(csvCell('b\r\nbb')).toBe('"b\r\nbb"');
  });

  it('can be undone for any text', () => {
    fc.assert(
      fc.property(cell, (text) => {
        const [, row] = parseCsv(`text,end\r\n${csvCell(text)},end\r\n`, 't.csv');
        expect(textOfCell(row!.cells[0]!)).toBe(text);
      }),
      { seed, numRuns: 500 },
    );
  });
});

describe('parseCsv', () => {
  it('tells the line of a row behind a cell with line ends, and passes over blank lines', () => {
    const rows = parseCsv('a,b\r\n\r\n"one\ntwo",2\r\n3,4', 't.csv');
    expect(rows).toEqual([
      { line: 1, cells: ['a', 'b'] },
      { line: 3, cells: ['one\ntwo', '2'] },
      { line: 5, cells: ['3', '4'] },
    ]);
  });

  it('reads semicolons and tabs where the header has them', () => {
    expect(parseCsv('a;b\n1,5;2', 't.csv')[1]!.cells).toEqual(['1,5', '2']);
    expect(parseCsv('\uFEFFa\tb\n1\t', 't.csv')[1]!.cells).toEqual(['1', '']);
  });

  for (const [text, found] of [
    ['a,b\n"open,2', 'line 2: expected text in double quotes'],
    ['a,b\n"x"y,2', 'behind the closing quote'],
  ] as const) {
    it(`says what is wrong with ${JSON.stringify(text)}`, () => {
      let said = '';
      try {
        parseCsv(text, 'reviews.csv');
      } catch (error) {
        if (isFault(error, 'malformed')) said = error.message;
      }
      expect(said).toContain('reviews.csv, line 2');
      expect(said).toContain(found);
    });
  }

  it.skipIf(!hasPython)(
    'reads what Python’s csv module writes, and writes what it reads (skipped without the Debian package python3)',
    () => {
      const tables = fc.sample(fc.array(fc.tuple(cell, cell, cell), { minLength: 1, maxLength: 5 }), {
        seed,
        numRuns: 150,
      });
      const script =
        'import csv, io, json, sys\n' +
        'out = []\n' +
        'for table, ours in json.load(sys.stdin):\n' +
        '    s = io.StringIO(newline="")\n' +
        '    csv.writer(s, quoting=csv.QUOTE_ALL).writerows(table)\n' +
        '    out.append([s.getvalue(), list(csv.reader(io.StringIO(ours, newline="")))])\n' +
        'json.dump(out, sys.stdout)\n';
      const header = ['h1', 'h2', 'h3'];
      const input = tables.map((rows) => [[header, ...rows], csvText(header, rows)]);
      const run = spawnSync(PYTHON, ['-c', script], { input: JSON.stringify(input), encoding: 'utf8' });
      expect(run.stderr).toBe('');
      const answers = JSON.parse(run.stdout) as [string, string[][]][];
      for (const [n, [theirs, read]] of answers.entries()) {
        const rows = tables[n]!;
        // A row of nothing but blanks is a row for neither side to lose: all have three cells.
        expect(
          parseCsv(theirs, 't.csv')
            .slice(1)
            .map((row) => row.cells),
        ).toEqual(rows);
        expect(read.slice(1).map((row) => row.map(textOfCell))).toEqual(rows);
      }
    },
  );
});
