/** reviews.csv: read with one clear fault for each way in which a hand-made table goes wrong. */
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { parseReviews, readReviews } from '../../../pipeline/stages/publish/reviews.ts';
import { isFault } from '../../../shared/errors.ts';

const HEADER = 'scan,id,kind,layer,x_um,y_um,decision,comment,date';
const GOOD = 'fine,F0007,missing-via,via2,-3.5,20.25,accept,"seen by two persons, ""sure""",2026-03-31';

const said = (text: string): string => {
  try {
    parseReviews(text, ['fine', 'wide']);
  } catch (error) {
    if (isFault(error)) return error.message;
    throw error;
  }
  return 'no fault';
};

describe('parseReviews', () => {
  it('reads a row, also with columns in another order and semicolons', () => {
    const expected = {
      scan: 'fine',
      id: 'F0007',
      kind: 'missing-via',
      layer: 'via2',
      x_um: -3.5,
      y_um: 20.25,
      decision: 'accept',
      comment: 'seen by two persons, "sure"',
      date: '2026-03-31',
    };
    expect(parseReviews(`${HEADER}\r\n${GOOD}\r\n`, ['fine'])).toEqual([expected]);
    const other =
      "date;decision;comment;scan;id;kind;layer;x_um;y_um\n2026-03-31;reject;'=1+1;fine;F1;wide;metal1;1;2\n";
    expect(parseReviews(other, ['fine'])[0]).toMatchObject({ decision: 'reject', comment: '=1+1', y_um: 2 });
  });

  it('takes a header alone for no review', () => {
    expect(parseReviews(`${HEADER}\n`, ['fine'])).toEqual([]);
  });

  const wrong = (from: string, to: string): string => `${HEADER}\n${GOOD}\n${GOOD.replace(from, to)}\n`;
  for (const [name, text, ...words] of [
    ['an empty file', '', 'line 1', 'the header scan,id'],
    ['a missing column', `${HEADER.replace(',date', '')}\n`, 'no column "date"'],
    ['an unknown column', `${HEADER},mood\n`, 'the column "mood"'],
    ['a column twice', `${HEADER},date\n`, 'the column "date"'],
    ['a short row', `${HEADER}\nfine,F1\n`, 'line 2', '9 cells', 'found 2'],
    ['an unknown scan', wrong('fine', 'fin'), 'line 3, scan', 'one of fine, wide', 'nearest is "fine"'],
    ['an unknown kind', wrong('missing-via', 'missing via'), 'line 3, kind', 'nearest is "missing-via"'],
    ['an unknown decision', wrong('accept', 'accepted'), 'line 3, decision', 'nearest is "accept"'],
    ['no number', wrong('-3.5', 'left'), 'line 3, x_um', 'a number of micrometres', '"left"'],
    ['an empty number', wrong('20.25', ''), 'line 3, y_um'],
    ['no layer', wrong('via2', ''), 'line 3, layer', 'a value'],
    ['a date of another form', wrong('2026-03-31', '31.3.2026'), 'line 3, date', 'such as 2026-03-31'],
    ['a day that is none', wrong('2026-03-31', '2026-02-30'), 'line 3, date'],
  ] as const) {
    it(`names ${name}`, () => {
      const message = said(text);
      expect(message).toContain('reviews.csv');
      for (const word of words) expect(message).toContain(word);
    });
  }
});

describe('readReviews', () => {
  it('is optional, and asks before it reads', async () => {
    const folder = mkdtempSync(join(tmpdir(), 'reviews-'));
    try {
      expect(await readReviews(folder, ['fine'])).toBeNull();
      writeFileSync(join(folder, 'reviews.csv'), `${HEADER}\n${GOOD}\n`);
      const asked: string[] = [];
      const read = await readReviews(folder, ['fine'], async (file) => {
        asked.push(file);
      });
      expect(read?.reviews.length).toBe(1);
      expect(read?.source).toBe('reviews.csv');
      expect(asked).toEqual([join(folder, 'reviews.csv')]);
    } finally {
      rmSync(folder, { recursive: true });
    }
  });
});
