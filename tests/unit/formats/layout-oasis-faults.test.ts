/** What is wrong in an OASIS file is said once, with its place. */
import { afterAll, describe, expect, it } from 'vitest';
import { type OasisOptions, readOasis } from '../../../pipeline/formats/layout/oasis.ts';
import { hex, scratch } from '../../fixtures/layout/gdsii-bytes.ts';
import {
  cell,
  END,
  MAGIC,
  NO_OFFSETS,
  oasisFile,
  RECTANGLE,
  START,
  text,
  u,
} from '../../fixtures/layout/oasis-bytes.ts';
import { block, withEnd } from '../../fixtures/layout/oasis-writer.ts';

const files = scratch();
afterAll(files.remove);

const readBytes = (bytes: Uint8Array, options?: OasisOptions) =>
  readOasis(files.write('f.oas', bytes), options);
const read = (records: string, start?: string, end?: string) => readBytes(oasisFile(records, start, end));
const hexOf = (bytes: Buffer) => bytes.toString('hex');

describe('the order of records', () => {
  // START is 9 bytes after the 13 of the magic: the first record after it stands at byte 22.
  it.each([
    ['an element outside of a cell', RECTANGLE, 'byte 22, record 2 (RECTANGLE)', 'a CELL record'],
    ['XYRELATIVE outside of a cell', '10', 'byte 22, record 2 (XYRELATIVE)', 'a CELL record'],
    ['a second START', START, 'byte 22, record 2 (START)', 'one START record'],
    ['an unknown record', '23', 'byte 22, record 2 (unknown record 35)', 'a record of 0 to 34'],
    [
      'an element after a name',
      `${cell('A', '')} 03 ${text('A')} ${RECTANGLE}`,
      'byte 28, record 4',
      'a CELL record',
    ],
  ])('%s', async (_, records, place, expected) => {
    await expect(read(records)).rejects.toMatchObject({
      tag: 'malformed',
      fields: { place: expect.stringContaining(place), expected: expect.stringContaining(expected) },
    });
  });

  it.each([RECTANGLE, END, `${hexOf(block(hex(START)))}`, '1C 14 01 41 00 01'])(
    'nothing but START comes first: %#',
    async (record) => {
      await expect(readBytes(hex(`${MAGIC} ${record} ${END}`))).rejects.toMatchObject({
        tag: 'malformed',
        fields: { expected: 'the START record first' },
      });
    },
  );

  it('END may not stand in a CBLOCK, nor a CBLOCK in another', async () => {
    for (const inner of [END, hexOf(block(hex('00')))]) {
      await expect(read(hexOf(block(hex(inner))))).rejects.toMatchObject({
        tag: 'malformed',
        fields: { place: expect.stringContaining('byte 0 of the CBLOCK at byte 22, record 3') },
      });
    }
  });
});

describe('START', () => {
  it.each([
    ['another version', '01 03 32 2E 30 00 E8 07 01', 'unsupported', '"1.0"'],
    ['a grid of 0', '01 03 31 2E 30 00 00 01', 'malformed', 'grid steps'],
    ['a negative grid', '01 03 31 2E 30 01 E8 07 01', 'malformed', 'grid steps'],
    ['another offset flag', '01 03 31 2E 30 00 E8 07 02', 'malformed', 'an offset flag'],
  ])('with %s', async (_, start, tag, expected) => {
    await expect(read(cell('A', ''), start)).rejects.toMatchObject({
      tag,
      fields: { place: 'byte 13, record 1 (START)', expected: expect.stringContaining(expected) },
    });
  });

  it('other first bytes are no OASIS', async () => {
    await expect(readBytes(Buffer.from('%SEMI-OASIS\n\n...'))).rejects.toMatchObject({ tag: 'malformed' });
  });
});

describe('truncation', () => {
  it('every beginning of a file is refused, with its last record', async () => {
    const whole = oasisFile(
      `03 ${text('B')} ${cell('A', `${RECTANGLE} 11 B0 01 42 00 00`)} 0D 00 ${RECTANGLE}`,
    );
    await expect(readBytes(whole)).resolves.toBeDefined();
    for (let length = 13; length < whole.length; length++) {
      await expect(readBytes(whole.subarray(0, length))).rejects.toMatchObject({ tag: 'truncated' });
    }
  });

  it('a record may not reach over the end of its CBLOCK', async () => {
    const half = hex(cell('A', RECTANGLE)).subarray(0, 9);
    await expect(read(`${hexOf(block(half))} ${RECTANGLE}`)).rejects.toMatchObject({
      tag: 'truncated',
      fields: {
        place: 'byte 3 of the CBLOCK at byte 22, record 4 (RECTANGLE)',
        found: 'the end of the CBLOCK at byte 9',
      },
    });
  });

  it('forged lengths and counts take no memory', async () => {
    const long = u(2 ** 50);
    for (const records of [
      `0E ${long} 41`,
      `22 00 05 ${long} 00`,
      cell('A', `15 3B 01 00 04 ${long} 60`),
      cell('A', `14 7F 01 00 01 01 00 00 0A ${u(2 ** 31)} 60`),
      cell('A', `1C F4 01 41 ${long} 00`),
    ]) {
      await expect(read(records)).rejects.toMatchObject({ tag: 'truncated' });
    }
  });
});

describe('info bytes', () => {
  it.each([
    ['POLYGON', '15 BB 01 00 04 03 60 22 44 00 00'],
    ['CIRCLE', '1B 7B 01 00 05 00 00'],
    ['TEXT', `13 DB ${text('a')} 01 02 00 00`],
    ['XGEOMETRY', `21 3B 01 02 03 ${text('a')} 00 00`],
  ])('%s with a reserved bit', async (name, record) => {
    await expect(read(cell('A', record))).rejects.toMatchObject({
      tag: 'malformed',
      fields: { place: expect.stringContaining(name), expected: expect.stringContaining('reserved') },
    });
  });

  it.each([
    ['a square with a height', '14 FB 01 00 01 01 00 00'],
    ['an extension scheme of 16', '16 FB 01 00 05 10 00 01 02 00 00'],
    ['a magnification of 0', '12 F4 01 41 00 00 00 00'],
    ['a negative magnification', '12 B4 01 41 01 02 00 00'],
    ['a property value of type 16', '1C 14 01 41 10 00'],
    ['a value count beside values taken up', '1C 1C 01 41'],
  ])('%s', async (_, record) => {
    await expect(read(cell('A', record))).rejects.toMatchObject({ tag: 'malformed' });
  });

  it('an interval of type 5', async () => {
    await expect(read(`0B ${text('M')} 05 01 00`)).rejects.toMatchObject({ tag: 'malformed' });
  });
});

describe('names', () => {
  it.each([
    ['a cell', '0D 07', 'CELLNAME', 'byte 22, record 2 (CELL)'],
    ['a placed cell', cell('A', '11 F0 07 00 00'), 'CELLNAME', 'byte 25, record 3 (PLACEMENT)'],
    ['a text', cell('A', '13 7B 07 01 02 00 00'), 'TEXTSTRING', 'byte 25, record 3 (TEXT)'],
    ['a property name', cell('A', '11 B0 01 41 00 00 1C 16 07 00 01'), 'PROPNAME', 'record 4 (PROPERTY)'],
    [
      'a property text',
      cell('A', `11 B0 01 41 00 00 1C 14 01 57 0E 07`),
      'PROPSTRING',
      'record 4 (PROPERTY)',
    ],
  ])('%s by a number that no table holds', async (_, records, table, place) => {
    // The cell that places itself is a circle besides; the missing number comes first.
    await expect(read(records)).rejects.toMatchObject({
      tag: 'inconsistent',
      fields: { place: expect.stringContaining(place), expected: `a ${table} record for number 7` },
    });
  });

  it.each([
    ['with and without numbers', `03 ${text('A')} 04 ${text('B')} 05`, 'malformed'],
    ['with one number twice', `04 ${text('A')} 05 04 ${text('B')} 05`, 'inconsistent'],
  ])('%s', async (_, records, tag) => {
    await expect(read(records)).rejects.toMatchObject({
      tag,
      fields: { place: expect.stringContaining('CELLNAME') },
    });
  });

  it('the same cell twice, by name and by number', async () => {
    await expect(read(`${cell('A', '')} 0D 00 03 ${text('A')}`)).rejects.toMatchObject({
      tag: 'inconsistent',
      fields: { place: 'byte 25, record 3 (CELL)', found: '"A" a second time' },
    });
  });

  it('a cell placed by name and by number is one target', async () => {
    const layout = await read(
      `${cell('B', RECTANGLE)} ${cell('A', '11 B0 01 42 00 00 11 F0 00 02 02 11 B0 01 42 04 04')} 03 ${text('B')}`,
    );
    const { targets, target } = layout.cells.get('A')?.references ?? {};
    expect([targets, [...(target ?? [])]]).toEqual([['B'], [0, 0, 0]]);
    expect(layout.topCells).toEqual(['A']);
  });
});

describe('the hierarchy', () => {
  it('a placed cell that is not there is named with its place', async () => {
    await expect(read(cell('SENSOR', '') + cell('A', `11 B0 ${text('SENSER')} 00 00`))).rejects.toMatchObject(
      {
        tag: 'inconsistent',
        fields: {
          place: 'byte 33, record 4 (PLACEMENT)',
          found: 'no such cell (nearest name: "SENSOR")',
        },
      },
    );
  });

  it('cells in a circle are named, also where they go by numbers', async () => {
    const names = `03 ${text('A')} 03 ${text('B')} 03 ${text('C')}`;
    await expect(
      read(`0D 00 11 F0 01 00 00 0D 01 11 F0 02 00 00 0D 02 11 F0 00 00 00 ${names}`),
    ).rejects.toMatchObject({ tag: 'inconsistent', fields: { found: '"A" > "B" > "C" > "A"' } });
  });

  it('600 levels are too many', async () => {
    const cells = Array.from(
      { length: 601 },
      (_, n) => `0D ${u(n)} ${n === 0 ? '' : `11 F0 ${u(n - 1)} 00 00`}`,
    );
    const names = Array.from({ length: 601 }, (_, n) => `03 ${text(`c${n}`)}`);
    await expect(read([...names, ...cells].join(' '))).rejects.toMatchObject({ tag: 'limit' });
  });
});

describe('table offsets', () => {
  const at = (record: string) => `${NO_OFFSETS} `.replace(/^(00 00 ){1}/, `${record} `);
  const end = (first: string) => END.replace(NO_OFFSETS, at(first).trim());
  const TWO = `03 ${text('A')} 03 ${text('B')} 0D 00 0D 01`;

  it.each([
    ['right and strict', '01 16', TWO, []],
    ['right', '00 16', TWO, []],
    ['not stated', '00 00', TWO, []],
    [
      'wrong',
      '00 17',
      TWO,
      ['The file states its CELLNAME records from byte 23 on, but they begin at byte 22; all were read.'],
    ],
    [
      'none',
      '00 17',
      cell('A', ''),
      ['The file states its CELLNAME records from byte 23 on, but there are none; all were read.'],
    ],
    [
      'strictly none',
      '01 00',
      TWO,
      ['The file states that it has no CELLNAME records, but they begin at byte 22; all were read.'],
    ],
    [
      'strict, in two pieces',
      '01 16',
      `03 ${text('A')} 0D 00 03 ${text('B')} 0D 01`,
      ['The CELLNAME records do not stand in one piece, as the file states; all were read.'],
    ],
    ['strict, in a CBLOCK', '01 16', hexOf(block(hex(TWO))), []],
  ])('%s', async (_, first, records, notes) => {
    expect((await read(records, START, end(first))).notes).toEqual(notes);
  });
});

describe('validation', () => {
  const body = hex(`${MAGIC} ${START} ${cell('A', RECTANGLE)}`);

  it.each([0, 1, 2] as const)('scheme %i is checked', async (scheme) => {
    const whole = withEnd(body, NO_OFFSETS, scheme);
    expect(whole.length - body.length).toBe(256);
    expect((await readBytes(whole)).notes).toEqual([]);
    if (scheme === 0) return;
    // A byte of the rectangle's height changed: the drawing is another one, and only the signature tells.
    const changed = Buffer.from(whole);
    changed[body.length - 3] ^= 1;
    const stored = `0x${whole
      .readUInt32LE(whole.length - 4)
      .toString(16)
      .padStart(8, '0')}`;
    await expect(readBytes(changed)).rejects.toMatchObject({
      tag: 'inconsistent',
      fields: { expected: expect.stringContaining(stored), found: expect.stringMatching(/^0x[0-9a-f]{8}$/) },
    });
  });

  it('worked by hand: the checksum of a file of 4 more bytes', async () => {
    const whole = withEnd(body, NO_OFFSETS, 2);
    let sum = 0;
    for (const byte of whole.subarray(0, -4)) sum += byte;
    expect(whole.readUInt32LE(whole.length - 4)).toBe(sum);
  });

  it('other schemes are not known', async () => {
    await expect(read(cell('A', ''), START, END.replace(/00$/, '03 01 02 03 04'))).rejects.toMatchObject({
      tag: 'unsupported',
      fields: { found: '3' },
    });
  });

  it('bytes after END are noted', async () => {
    const layout = await readBytes(Buffer.concat([oasisFile(cell('A', '')), Buffer.alloc(5)]));
    expect(layout.notes).toEqual(['5 byte(s) after END, ignored.']);
  });
});

it('can be stopped, and tells how far it is', async () => {
  const small = oasisFile(cell('A', RECTANGLE));
  // Five XELEMENT records of 7 MB each, between the cell and END.
  const long = Buffer.concat([hex(`20 00 ${u(7e6)}`), Buffer.alloc(7e6)]);
  const bytes = Buffer.concat([small.subarray(0, -256), long, long, long, long, long, small.subarray(-256)]);
  const seen: number[] = [];
  await readBytes(bytes, { onProgress: (done) => seen.push(done) });
  expect(seen.length).toBeGreaterThan(2);
  expect(seen).toEqual([...seen].sort((a, b) => a - b));
  expect(seen.at(-1)).toBe(bytes.length);
  const stop = new AbortController();
  await expect(
    readBytes(bytes, { signal: stop.signal, onProgress: () => stop.abort(new Error('stopped')) }),
  ).rejects.toThrow('stopped');
});
