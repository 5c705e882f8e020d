/** Damaged OASIS files: each is read or refused with one InputFault. The long run is in tests/fuzz. */
import { afterAll, describe, expect, it } from 'vitest';
import { readOasis } from '../../../pipeline/formats/layout/oasis.ts';
import { damagedOasis, EVERY_RECORD } from '../../fixtures/layout/damaged-files.ts';
import { scratch } from '../../fixtures/layout/gdsii-bytes.ts';
import { cell, oasisFile, s, text, u } from '../../fixtures/layout/oasis-bytes.ts';
import { readAndAsk } from '../../fixtures/layout/read-and-ask.ts';

const files = scratch();
afterAll(files.remove);

const outcome = (bytes: Uint8Array) => readAndAsk(() => readOasis(files.write('damaged.oas', bytes)));

describe('damaged OASIS', () => {
  it('is read or refused, whatever was done to it', async () => {
    const make = damagedOasis(20);
    const outcomes = new Map<string, number>();
    for (let n = 0; n < 400; n++) {
      const found = await outcome(make(n));
      outcomes.set(found, (outcomes.get(found) ?? 0) + 1);
    }
    for (const found of ['read', 'refused: malformed', 'refused: truncated', 'refused: inconsistent']) {
      expect(outcomes.get(found)).toBeGreaterThan(15);
    }
  }, 60_000);

  it('the undamaged file with every record is read', async () => {
    const layout = await readOasis(files.write('whole.oas', EVERY_RECORD));
    expect([...layout.cells.keys()]).toEqual(['LEAF', 'TOP']);
    expect(await outcome(EVERY_RECORD)).toBe('read');
  });

  it('every truncation of it is refused', async () => {
    for (let length = 0; length < EVERY_RECORD.length; length += 3) {
      expect(await outcome(EVERY_RECORD.subarray(0, length))).toMatch(/^refused/);
    }
  });

  it('every byte of it may be any byte', async () => {
    const outcomes = new Set<string>();
    for (let at = 22; at < EVERY_RECORD.length - 240; at += 5) {
      for (const value of [0, 0x1d, 0x80, 0xff]) {
        const bytes = Buffer.from(EVERY_RECORD);
        bytes[at] = value;
        outcomes.add(await outcome(bytes));
      }
    }
    expect(outcomes.size).toBeGreaterThan(3);
  }, 60_000);

  it('40 levels of two lattices each do not make 2^40 visits', async () => {
    const cells = Array.from({ length: 41 }, (_, n) => {
      const child = `${text(`c${n - 1}`)} 00 00`;
      const elements =
        n === 0
          ? '14 DB 01 00 01 00 00'
          : `12 B2 ${text(`c${n - 1}`)} 00 1E 00 00 11 B8 ${child} 01 00 00 0A 0A`;
      return cell(`c${n}`, elements);
    });
    expect(await outcome(oasisFile(cells.join('')))).toBe('read');
  });

  it('magnifications out of all bounds are refused by the queries, those down to nothing give nothing', async () => {
    const chain = (magnification: string) =>
      Array.from({ length: 60 }, (_, n) =>
        cell(`c${n}`, n === 0 ? '14 DB 01 00 01 00 00' : `12 B4 ${text(`c${n - 1}`)} ${magnification} 00 00`),
      ).join('');
    expect(await outcome(oasisFile(chain(`00 ${u(2 ** 50)}`)))).toBe('refused: limit');
    expect(await outcome(oasisFile(chain(`02 ${u(2 ** 50)}`)))).toBe('read');
  });

  it('a lattice whose corners lie beyond 2^53 is refused', async () => {
    const far = u(2 ** 32);
    const lattice =
      cell('A', `11 B8 01 42 ${s(0)} 00 01 ${u(2 ** 31)} 00 ${far} 01`) + cell('B', '14 DB 01 00 01 00 00');
    expect(await outcome(oasisFile(lattice))).toBe('refused: limit');
  });
});
