/**
 * Modal variables of OASIS: what a record leaves out, an earlier one of the cell has given; at a CELL and at a name record
 * all is forgotten but places, which are 0. Reference values, section 2.2, and section 10 of the standard as read there.
 */
import { afterAll, describe, expect, it } from 'vitest';
import { readOasis } from '../../../pipeline/formats/layout/oasis.ts';
import {
  type DrawnLayer,
  type Layout,
  type LayoutCell,
  referenceAt,
} from '../../../pipeline/formats/layout.ts';
import { scratch } from '../../fixtures/layout/gdsii-bytes.ts';
import { cell, oasisFile, RECTANGLE, s, text } from '../../fixtures/layout/oasis-bytes.ts';

const files = scratch();
afterAll(files.remove);

const read = (records: string): Promise<Layout> => readOasis(files.write('m.oas', oasisFile(records)));
const elements = (records: string): Promise<Layout> => read(cell('B', RECTANGLE) + cell('A', records));
const xyOf = (one: LayoutCell, drawn: DrawnLayer): number[] => [...(one.polygons.get(drawn)?.xy ?? [])];

describe('modal variables', () => {
  const RECORDS: [string, string][] = [
    ['a layer', '14 62 00 01 01'],
    ['a datatype', '14 61 01 01 01'],
    ['a width', '14 23 01 00 01'],
    ['a height', '14 43 01 00 01'],
    ['a point list', '15 03 01 00'],
    ['a half width', '16 A3 01 00 05 00 01 02'],
    ['an extension scheme', '16 63 01 00 05 00 01 02'],
    ['a half width', '16 A3 01 00 0A 00 01 02'],
    ['a CTRAPEZOID kind', '1A 63 01 00 01 01'],
    ['a radius', '1B 03 01 00'],
    ['a cell', '11 30 00 00'],
    ['a text', '13 03 01 02'],
    ['a text layer', `13 42 ${text('a')} 02`],
    ['a text type', `13 41 ${text('a')} 01`],
    ['a property name', '1C 10 00 01'],
    ['property values', `1C 0C ${text('W')}`],
    ['an earlier repetition', '14 67 01 00 01 01 00'],
  ];

  it.each(RECORDS)('without %s: %s', async (what, record) => {
    await expect(elements(record)).rejects.toMatchObject({
      tag: 'malformed',
      fields: { expected: expect.stringContaining(what) },
    });
  });

  it('are forgotten at a CELL and at a name record', async () => {
    await expect(read(cell('A', RECTANGLE) + cell('B', '14 00'))).rejects.toMatchObject({ tag: 'malformed' });
    // Places go back to 0 and XYRELATIVE to XYABSOLUTE.
    const square = (info: string, places: string) => `14 ${info} 01 00 01 ${places}`;
    const label = (info: string, places: string) => `13 ${info} ${text('a')} 01 02 ${places}`;
    const layout = await read(
      cell('L', '') +
        cell(
          'A',
          `10 ${square('DB', `${s(9)} ${s(9)}`)} ${label('5B', `${s(7)} ${s(7)}`)} 11 B0 01 4C ${s(6)} ${s(6)}`,
        ) +
        cell('B', `${square('D3', s(4))} 14 10 ${s(5)} ${label('53', s(3))} 11 A0 01 4C ${s(2)}`),
    );
    const b = layout.cells.get('B') as LayoutCell;
    expect(xyOf(b, '1/0').filter((_, n) => n % 8 < 2)).toEqual([4, 0, 5, 0]);
    expect(b.labels.map(({ xDbu, yDbu }) => [xDbu, yDbu])).toEqual([[3, 0]]);
    expect(referenceAt(b.references, 0).transform).toEqual([1, 0, 2, 0, 1, 0]);
  });

  it.each([
    ['a CELL', (again: string) => `${cell('A', `1C 14 ${text('W')} 00 07`)} ${cell('B', again)}`],
    ['a name record', (again: string) => `${cell('A', `1C 14 ${text('W')} 00 07`)} 05 ${text('t')} ${again}`],
  ])('the last property is forgotten at %s', async (_, records) => {
    for (const again of ['1D', '1C 10 00 01', `1C 0C ${text('W')}`]) {
      await expect(read(records(again))).rejects.toMatchObject({ tag: 'malformed' });
    }
  });

  it('the last property lives on within a cell', async () => {
    const layout = await read(cell('A', `1C 14 ${text('W')} 00 07 ${RECTANGLE} 1D`));
    expect(layout.notes[0]).toMatch(/^2 properties/);
  });
});
