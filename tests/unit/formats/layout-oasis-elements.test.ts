/**
 * Records of OASIS, byte by byte. Info bytes, field orders and record numbers are those of the reference values, section
 * 2.2 (read there in two public readers); numbers are encoded by hand from its worked examples.
 */
import { afterAll, describe, expect, it } from 'vitest';
import { countShapes, shapesInWindow } from '../../../pipeline/formats/layout/flatten.ts';
import { readOasis } from '../../../pipeline/formats/layout/oasis.ts';
import {
  type DrawnLayer,
  type Layout,
  type LayoutCell,
  pathAt,
  referenceAt,
} from '../../../pipeline/formats/layout.ts';
import { hex, scratch } from '../../fixtures/layout/gdsii-bytes.ts';
import { cell, END, g, oasisFile, RECTANGLE, START, s, text, u } from '../../fixtures/layout/oasis-bytes.ts';
import { block } from '../../fixtures/layout/oasis-writer.ts';

const files = scratch();
afterAll(files.remove);

const read = (records: string, start?: string, end?: string): Promise<Layout> =>
  readOasis(files.write('e.oas', oasisFile(records, start, end)));

/** Reads the elements of a cell A; B is there to be placed. */
async function elements(records: string): Promise<LayoutCell> {
  const layout = await read(cell('B', RECTANGLE) + cell('A', records));
  return layout.cells.get('A') as LayoutCell;
}

const xyOf = (one: LayoutCell, drawn: DrawnLayer): number[] => [...(one.polygons.get(drawn)?.xy ?? [])];

describe('START', () => {
  it('gives the grid: 1000 steps per um', async () => {
    // 01 03 31 2E 30 00 E8 07 01 is worked in the reference values.
    const layout = await read(cell('A', ''));
    expect(layout).toMatchObject({ format: 'oasis', dbuUm: 0.001, topCells: ['A'], notes: [] });
  });

  it.each([
    ['2000, whole', '00 D0 0F', 0.0005],
    ['1/2, a reciprocal', '02 02', 2],
    ['5/8, a quotient', '04 05 08', 1.6],
    ['0.5, a float', '06 00 00 00 3F', 2],
  ])('takes a grid of %s', async (_, unit, dbuUm) => {
    expect((await read(cell('A', ''), `01 03 31 2E 30 ${unit} 01`)).dbuUm).toBe(dbuUm);
  });
});

describe('RECTANGLE', () => {
  it('68/20, 140 x 1000 at (0, -5)', async () => {
    // The worked example of the reference values.
    expect(xyOf(await elements(RECTANGLE), '68/20')).toEqual([0, -5, 140, -5, 140, 995, 0, 995]);
  });

  it('a square gives its width alone, and both sizes to the next', async () => {
    // 10 x 10 at (0, 0) on 1/2, then one at (20, 0) that takes up everything.
    const one = await elements('14 DB 01 02 0A 00 00  14 10 28');
    expect(xyOf(one, '1/2')).toEqual([0, 0, 10, 0, 10, 10, 0, 10, 20, 0, 30, 0, 30, 10, 20, 10]);
  });

  it('takes up what the record before gave', async () => {
    const one = await elements(`${RECTANGLE} 14 02 15 14 10 ${s(7)} 14 20 03`);
    expect(xyOf(one, '68/20')).toHaveLength(8);
    expect(xyOf(one, '68/21')).toEqual([
      ...[0, -5, 140, -5, 140, 995, 0, 995],
      ...[7, -5, 147, -5, 147, 995, 7, 995],
      ...[7, -5, 147, -5, 147, -2, 7, -2],
    ]);
  });

  it('relative places add up until XYABSOLUTE', async () => {
    const at = (x: number, y: number) => `14 18 ${s(x)} ${s(y)}`;
    const one = await elements(`14 DB 01 00 01 ${s(10)} ${s(20)} 10 ${at(5, -3)} ${at(5, 0)} 0F ${at(5, 1)}`);
    const corners = xyOf(one, '1/0').filter((_, n) => n % 8 < 2);
    expect(corners).toEqual([10, 20, 15, 17, 20, 17, 5, 1]);
  });

  it('layers and datatypes may be large', async () => {
    const one = await elements(
      `14 DB ${u(70_000)} ${u(2 ** 40)} 01 00 00 14 DB ${u(3)} ${u(65_536)} 01 00 00`,
    );
    expect([...one.polygons.keys()]).toEqual([`70000/${2 ** 40}`, '3/65536']);
  });

  it('coordinates beyond 32 bits come as doubles, in that cell and layer alone', async () => {
    const far = 2 ** 50 + 1;
    const wide = `14 7B 01 00 ${u(2)} ${u(3)} ${s(far)} ${s(-far)} 14 18 00 00`;
    const layout = await read(cell('A', `${wide} ${RECTANGLE}`) + cell('C', '14 DB 01 00 01 00 00'));
    const [a, c] = [layout.cells.get('A'), layout.cells.get('C')] as LayoutCell[];
    expect(a.polygons.get('1/0')?.xy).toBeInstanceOf(Float64Array);
    expect(xyOf(a, '1/0').slice(0, 6)).toEqual([far, -far, far + 2, -far, far + 2, 3 - far]);
    expect(xyOf(a, '1/0').slice(8)).toEqual([0, 0, 2, 0, 2, 3, 0, 3]);
    expect(a.polygons.get('68/20')?.xy).toBeInstanceOf(Int32Array);
    expect(c.polygons.get('1/0')?.xy).toBeInstanceOf(Int32Array);
  });
});

describe('POLYGON', () => {
  it('takes a point list, and the next takes it up', async () => {
    // An L of 1-deltas (see the point lists) at (100, 50) and at (0, 0).
    const one = await elements(`15 3B 01 00 00 04 0C 04 09 06 ${s(100)} ${s(50)} 15 18 00 00`);
    expect(xyOf(one, '1/0')).toEqual([
      ...[100, 50, 106, 50, 106, 52, 102, 52, 102, 55, 100, 55],
      ...[0, 0, 6, 0, 6, 2, 2, 2, 2, 5, 0, 5],
    ]);
  });

  it('a flat one is kept and noted', async () => {
    const layout = await read(cell('A', `15 3B 01 00 04 02 60 60 00 00`));
    expect(layout.notes).toEqual(['1 shape(s) whose signed area is zero.']);
  });
});

describe('PATH', () => {
  /** On 1/0, half width 5, two points (0, 0) (100, 0). */
  const wire = (scheme: string) => `16 FB 01 00 05 ${scheme} 00 01 ${s(100)} 00 00`;

  // Scheme bits SSEE: 0 the last one, 1 flush, 2 half the width, 3 given.
  it.each([
    ['05', 'flush'],
    ['0A', 'half-width'],
    ['06', { beginDbu: 0, endDbu: 5 }],
    ['09', { beginDbu: 5, endDbu: 0 }],
    [`0F ${s(7)} ${s(-2)}`, { beginDbu: 7, endDbu: -2 }],
    [`0D ${s(7)}`, { beginDbu: 7, endDbu: 0 }],
    [`0B ${s(5)}`, 'half-width'],
    [`0F 00 00`, 'flush'],
  ])('extension scheme %s', async (scheme, ends) => {
    const block = (await elements(wire(scheme))).paths.get('1/0');
    const path = pathAt(block as NonNullable<typeof block>, 0);
    expect({ ...path, xy: [...Array.from(path.xy)] }).toEqual({
      xy: [0, 0, 100, 0],
      widthDbu: 10,
      widthIsAbsolute: false,
      ends,
    });
  });

  // From memory of the standard, as a public C++ translation library has it; a Python format library differs.
  it('takes up extensions as lengths, whatever the new width', async () => {
    // Half-width ends of 5; then half width 8 with ends as before (E = 0), and with a scheme of 0 at the begin alone.
    const block = (await elements(`${wire('0A')} 16 40 08 16 80 02`)).paths.get('1/0');
    const paths = [0, 1, 2].map((n) => pathAt(block as NonNullable<typeof block>, n));
    expect(paths.map(({ widthDbu, ends }) => [widthDbu, ends])).toEqual([
      [10, 'half-width'],
      [16, { beginDbu: 5, endDbu: 5 }],
      [16, { beginDbu: 5, endDbu: 8 }],
    ]);
  });

  it('has its own point list', async () => {
    const one = await elements(`15 3B 01 00 00 04 0C 04 09 06 00 00 ${wire('05')} 15 00 16 00`);
    expect(xyOf(one, '1/0')).toHaveLength(24);
    expect([...(one.paths.get('1/0')?.xy ?? [])]).toEqual([0, 0, 100, 0, 0, 0, 100, 0]);
  });
});

describe('TEXT', () => {
  it('stands on a text layer and type of its own', async () => {
    const layout = await read(
      cell('A', `${RECTANGLE} 13 5B ${text('clk')} 15 09 ${s(10)} ${s(-20)} 13 10 ${s(11)}`),
    );
    expect(layout.cells.get('A')?.labels).toEqual([
      { text: 'clk', drawn: '21/9', xDbu: 10, yDbu: -20 },
      { text: 'clk', drawn: '21/9', xDbu: 11, yDbu: -20 },
    ]);
  });

  it('is repeated', async () => {
    const layout = await read(cell('A', `13 5F ${text('a')} 01 02 00 00 01 00 00 0A 14`));
    expect(layout.cells.get('A')?.labels.map(({ xDbu, yDbu }) => [xDbu, yDbu])).toEqual([
      [0, 0],
      [10, 0],
      [0, 20],
      [10, 20],
    ]);
  });
});

describe('PLACEMENT', () => {
  const placed = async (records: string) => {
    const { references } = await elements(records);
    return Array.from({ length: references.count }, (_, n) => referenceAt(references, n));
  };

  // Record 17, info CNXYRAAF: AA counts turns of 90 degrees, F flips about x before; matrices worked by hand.
  it.each([
    ['B0', [1, 0, 7, 0, 1, -8]],
    ['B2', [0, -1, 7, 1, 0, -8]],
    ['B4', [-1, 0, 7, 0, -1, -8]],
    ['B6', [0, 1, 7, -1, 0, -8]],
    ['B1', [1, 0, 7, 0, -1, -8]],
    ['B3', [0, 1, 7, 1, 0, -8]],
    ['B5', [-1, 0, 7, 0, 1, -8]],
    ['B7', [0, -1, 7, -1, 0, -8]],
  ])('17 with info %s', async (info, transform) => {
    const [one] = await placed(`11 ${info} 01 42 ${s(7)} ${s(-8)}`);
    expect(one).toMatchObject({ cell: 'B', transform, magnification: 1, columns: 1, rows: 1 });
  });

  it('18 takes any magnification and angle', async () => {
    // Info CNXYRMAF = 10110111: magnification 5/2 as a quotient, angle 90 whole, flipped.
    const [one] = await placed(`12 B7 01 42 04 05 02 00 5A ${s(7)} ${s(-8)}`);
    expect(one).toMatchObject({ transform: [0, 2.5, 7, 2.5, 0, -8], magnification: 2.5 });
    // Angle 30 as a double: 40 3E 00 ... is 30.
    const [two] = await placed(`12 B2 01 42 07 00 00 00 00 00 00 3E 40 00 00`);
    expect(two.transform[0]).toBeCloseTo(Math.sqrt(3) / 2, 12);
    expect(two.transform[3]).toBeCloseTo(0.5, 12);
    // Neither given: plain.
    expect((await placed('12 B0 01 42 00 00'))[0].transform).toEqual([1, 0, 0, 0, 1, 0]);
  });

  it('takes up cell and place, relative or not', async () => {
    const all = await placed(`11 B0 01 42 ${s(7)} ${s(8)} 11 20 ${s(9)} 10 11 20 ${s(1)} 11 30 02 03`);
    expect(all.map(({ cell: name, transform }) => [name, transform[2], transform[5]])).toEqual([
      ['B', 7, 8],
      ['B', 9, 8],
      ['B', 10, 8],
      ['B', 11, 7],
    ]);
  });

  it('keeps lattices and opens lists out', async () => {
    const [lattice, ...list] = await placed(
      `11 B8 01 42 00 00 01 01 02 64 C8 01 11 38 ${s(5)} 00 0A 00 ${g(-3, 9)}`,
    );
    expect(lattice).toMatchObject({ columns: 3, rows: 4, columnStepDbu: [100, 0], rowStepDbu: [0, 200] });
    expect(list.map(({ transform }) => [transform[2], transform[5]])).toEqual([
      [5, 0],
      [2, 9],
    ]);
  });
});

describe('PROPERTY', () => {
  it('of a placement goes to the reference, by name and by GDSII number', async () => {
    // Info UUUUVCNS. Name "W" with the values 3 and -2 and "x"; then S_GDS_PROPERTY 4 "net"; then the last one again.
    const { references } = await elements(
      `11 B0 01 42 00 00 1C 34 ${text('W')} 08 03 09 ${s(-2)} 0A ${text('x')} ` +
        `1C 25 ${text('S_GDS_PROPERTY')} 08 04 0A ${text('net')} 11 30 02 02 1D`,
    );
    expect(references.properties.get(0)).toEqual(
      new Map<string | number, string>([
        ['W', '3 -2 x'],
        [4, 'net'],
      ]),
    );
    expect(references.properties.get(1)).toEqual(new Map([[4, 'net']]));
  });

  it('takes up name and values apart', async () => {
    const { references } = await elements(
      `11 B0 01 42 00 00 1C 14 ${text('W')} 00 07 11 30 02 02 1C 0C ${text('V')} 11 30 04 04 1C 10 00 09`,
    );
    expect([...references.properties.values()].map((map) => [...map][0])).toEqual([
      ['W', '7'],
      ['V', '7'],
      ['V', '9'],
    ]);
  });

  it('of a placement that was opened out goes to all of its members', async () => {
    const { references } = await elements(`11 B8 01 42 00 00 04 01 05 05 1C 14 ${text('W')} 00 07`);
    expect(references.count).toBe(3);
    for (let n = 0; n < 3; n++) expect(references.properties.get(n)?.get('W')).toBe('7');
  });

  it('has values of every kind', async () => {
    const numbers = '00 01 01 02 02 04 03 08 04 05 08 05 05 08 06 00 00 00 3F 07 00 00 00 00 00 80 56 40';
    const texts = `0A ${text('a b')} 0B ${text('b')} 0C ${text('n')} 0D 00 0E 01 0F 00`;
    const placed = cell('A', `11 B0 01 42 00 00 1C F4 ${text('W')} 0E ${numbers} ${texts}`);
    const layout = await read(`${cell('B', RECTANGLE)} ${placed} 09 ${text('first')} 09 ${text('second')}`);
    expect(layout.cells.get('A')?.references.properties.get(0)?.get('W')).toBe(
      '1 -2 0.25 -0.125 0.625 -0.625 0.5 90 a b b n first second first',
    );
  });

  it('of anything else is counted and left out', async () => {
    const property = `1C 14 ${text('W')} 00 07`;
    const layout = await read(
      `${property} 03 ${text('A')} ${property} 0D 00 ${property} ${RECTANGLE} ${property} 13 5B ${text('a')} 01 02 00 00 1D`,
    );
    expect(layout.notes).toEqual(['5 properties of shapes, labels, cells, names and the file, left out.']);
  });
});

describe('records that draw nothing', () => {
  it('are stepped over', async () => {
    const names = `0B ${text('M1')} 03 01 00 0B ${text('ALL')} 00 04 01 05 0C ${text('T')} 01 05 02 07`;
    const extensions = `1E 07 ${text('x')} 20 09 ${text('y')}`;
    // XGEOMETRY, info 000XYRDL: attribute, layer, datatype, string, x, y.
    const layout = await read(
      `00 00 ${names} ${extensions} ${cell('A', `00 21 1B 02 05 06 ${text('z')} 00 00 20 01 00 14 60 0A 0B`)} 00`,
    );
    expect(xyOf(layout.cells.get('A') as LayoutCell, '5/6')).toEqual([0, 0, 10, 0, 10, 11, 0, 11]);
    expect(layout.notes).toEqual([
      '3 XELEMENT and XGEOMETRY record(s), private to the program that wrote them, left out.',
    ]);
  });
});

describe('shapes with a repetition', () => {
  const ALL = [-Infinity, -Infinity, Infinity, Infinity] as const;
  const square = (repetition: string) => cell('A', `14 DF 01 00 02 00 00 ${repetition}`);

  it.each([
    ['2 x 4 opened out', '01 00 02 0A 14', 8, false],
    ['3 x 3 as an array', '01 01 01 0A 14', 9, true],
    ['12 x 1 as an array', '02 0A 0A', 12, true],
    ['1 x 12 as an array', '03 0A 0A', 12, true],
    ['skewed 3 x 4 as an array', `08 01 02 ${g(10, 3)} ${g(-4, 20)}`, 12, true],
    ['10 along a line', `09 08 ${g(10, 3)}`, 10, true],
    ['11 in a list', `0A 09 ${g(10, 3).repeat(10)}`, 11, false],
  ])('%s', async (_, repetition, members, isArray) => {
    const layout = await read(square(repetition));
    const one = layout.cells.get('A') as LayoutCell;
    expect(one.arrays.size).toBe(isArray ? 1 : 0);
    expect(countShapes(layout, 'A').get('1/0')).toEqual({ stored: members, flat: members });
    const flat = [...shapesInWindow(layout, 'A', ALL, new Set(['1/0'] as const))];
    expect(flat).toHaveLength(members);
    expect(new Set(flat.map(({ boxUm }) => boxUm.join())).size).toBe(members);
  });

  it('a lattice of 10^12 members costs what a window holds of it', async () => {
    // 10^6 x 10^6 squares of 2 on a pitch of 10.
    const layout = await read(square(`01 ${u(999_998)} ${u(999_998)} 0A 0A`));
    expect(countShapes(layout, 'A').get('1/0')?.flat).toBe(1e12);
    const window = [5000, 5000, 5000.025, 5000.011] as const;
    const found = [...shapesInWindow(layout, 'A', window, new Set(['1/0'] as const))];
    expect(found.map(({ boxUm }) => boxUm)).toEqual([
      [5000, 5000, 5000.002, 5000.002],
      [5000, 5000.01, 5000.002, 5000.012],
      [5000.01, 5000, 5000.012, 5000.002],
      [5000.01, 5000.01, 5000.012, 5000.012],
      [5000.02, 5000, 5000.022, 5000.002],
      [5000.02, 5000.01, 5000.022, 5000.012],
    ]);
  });

  it.each([
    ['a list of places', `0A 00 ${g(2 ** 31, 5)}`, [2 ** 31, 5]],
    ['a list to the left', `0A 00 ${g(-(2 ** 31) - 2, -5)}`, [-(2 ** 31) - 2, -5]],
    ['a small lattice', `02 00 ${u(2 ** 31)}`, [2 ** 31, 0]],
    ['a small lattice upwards', `03 00 ${u(2 ** 31)}`, [0, 2 ** 31]],
  ])('%s may reach beyond 32 bits', async (_, repetition, [x, y]) => {
    const one = (await read(square(repetition))).cells.get('A') as LayoutCell;
    expect(xyOf(one, '1/0')).toEqual([0, 0, 2, 0, 2, 2, 0, 2, x, y, x + 2, y, x + 2, y + 2, x, y + 2]);
  });

  it('paths and what the next record takes up', async () => {
    const path = `16 FF 01 00 05 05 00 01 ${s(100)} 00 00 01 01 02 64 C8 01`;
    const one = await elements(`${path} 16 14 ${s(7)} 00`);
    const block = one.arrays.get('1/0');
    expect([...(block?.pathLattices.columns ?? [])]).toEqual([3, 3]);
    expect([...(block?.pathLattices.rows ?? [])]).toEqual([4, 4]);
    expect([...(block?.paths.xy ?? [])]).toEqual([0, 0, 100, 0, 7, 0, 107, 0]);
  });
});

describe('CBLOCK', () => {
  it('is read as if its records stood in the file, and modal variables pass its borders', async () => {
    const inner = block(hex(`${cell('A', RECTANGLE)} 14 10 ${s(200)}`)).toString('hex');
    const layout = await read(`${inner} 14 10 ${s(400)} ${block(hex(cell('B', ''))).toString('hex')}`);
    const a = layout.cells.get('A') as LayoutCell;
    expect(xyOf(a, '68/20').filter((_, n) => n % 8 === 0)).toEqual([0, 200, 400]);
    expect(layout.cells.has('B')).toBe(true);
  });

  it('may be empty', async () => {
    const layout = await read(`22 00 00 00 ${block(Buffer.alloc(0)).toString('hex')} ${cell('A', '')}`);
    expect([...layout.cells.keys()]).toEqual(['A']);
  });
});

it('START may hold the table offsets in place of END', async () => {
  const start = START.replace(/01$/, `00 ${'00 '.repeat(12)}`);
  const end = END.replace(/^02 (00 ){12}/, '02 ');
  const layout = await read(cell('A', ''), start, end);
  expect(layout.notes).toEqual(['The END record takes up 244 bytes and not 256.']);
});
