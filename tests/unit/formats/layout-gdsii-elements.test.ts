/** Every element of GDSII Stream release 6, in bytes written by hand. */
import { gzipSync } from 'node:zlib';
import { afterAll, describe, expect, it } from 'vitest';
import { readGdsii } from '../../../pipeline/formats/layout/gdsii.ts';
import { type Layout, pathAt, polygonCount, referenceAt } from '../../../pipeline/formats/layout.ts';
import { hex, library, scratch, structure, textRecord } from '../../fixtures/layout/gdsii-bytes.ts';
import {
  BOX,
  EVERY_ELEMENT,
  NODE,
  REAL8,
  rectangle,
  sref,
  TEXT,
  TURNED_AREF,
  wire,
} from '../../fixtures/layout/gdsii-elements.ts';
import { randomLibrary } from '../../fixtures/layout/gdsii-random.ts';
import {
  linesOfLayout,
  linesOfSecondReader,
  SECOND_READER_MISSING,
} from '../../oracles/gdsii-second-reader.ts';

const files = scratch();
afterAll(files.remove);

let number = 0;
const read = (bytes: Uint8Array): Promise<Layout> => readGdsii(files.write(`${number++}.gds`, bytes));
const readTop = async (elements: string) => {
  const layout = await read(library(structure('LEAF', rectangle()) + structure('TOP', elements)));
  const top = layout.cells.get('TOP');
  if (top === undefined) throw new Error('no TOP');
  return { layout, top };
};

describe('GDSII elements', () => {
  it('BOUNDARY: layer, datatype and corners, the closing one dropped', async () => {
    // Record bytes from the GDS II Stream Format Manual 6.0: XY of (0,0)(140,0)(140,1000)(0,1000)(0,0) is 00 2C 10 03.
    const { top } = await readTop(`
      00 04 08 00
      00 06 0D 02 0044
      00 06 0E 02 0014
      00 2C 10 03 00000000 00000000 0000008C 00000000 0000008C 000003E8 00000000 000003E8 00000000 00000000
      00 04 11 00`);
    const block = top.polygons.get('68/20');
    expect([...(block?.xy ?? [])]).toEqual([0, 0, 140, 0, 140, 1000, 0, 1000]);
    expect([...(block?.starts ?? [])]).toEqual([0, 4]);
  });

  it('reads layer and datatype numbers above 32767 without a sign', async () => {
    const { top } = await readTop(rectangle('FFFE', '8000'));
    expect([...top.polygons.keys()]).toEqual(['65534/32768']);
  });

  it.each([
    ['0000', 'flush'],
    ['0001', 'round'],
    ['0002', 'half-width'],
  ])('PATH of type %s has %s ends', async (pathType, ends) => {
    const { top } = await readTop(wire(pathType));
    const block = top.paths.get('21/0');
    expect(block && pathAt(block, 0)).toEqual({
      xy: Int32Array.of(0, 0, 1000, 0),
      widthDbu: 100,
      widthIsAbsolute: false,
      ends,
    });
  });

  it('PATH of type 4 has the extensions of BGNEXTN and ENDEXTN, which may be negative', async () => {
    const { top } = await readTop(wire('0004', '00000064', '00 08 30 03 FFFFFFF6\n00 08 31 03 00000014'));
    const block = top.paths.get('21/0');
    expect(block && pathAt(block, 0).ends).toEqual({ beginDbu: -10, endDbu: 20 });
  });

  it('PATH of negative width is absolute', async () => {
    const { top } = await readTop(wire('0000', 'FFFFFF9C'));
    const block = top.paths.get('21/0');
    expect(block && pathAt(block, 0)).toMatchObject({ widthDbu: 100, widthIsAbsolute: true });
  });

  it('BOX is a rectangle on layer/boxtype; NODE is read over; both are noted', async () => {
    const { layout, top } = await readTop(BOX + NODE);
    expect([...(top.polygons.get('7/3')?.xy ?? [])]).toEqual([0, 0, 100, 0, 100, 50, 0, 50]);
    expect(top.polygons.size).toBe(1);
    expect(layout.notes.join()).toMatch(/1 BOX.*1 NODE/s);
  });

  it('TEXT is a label at its anchor; MAG is only the size of the writing', async () => {
    const { top } = await readTop(TEXT);
    expect(top.labels).toEqual([{ text: 'clk', drawn: '21/9', xDbu: 10, yDbu: -20 }]);
  });

  it('text outside ASCII is UTF-8 where it can be, else Latin-1', async () => {
    const text = (bytes: string) => TEXT.replace(/[0-9a-f]+ 1906 [0-9a-f]+/, `0006 1906 ${bytes}`);
    const { top } = await readTop(text('C2B5') + text('B56D'));
    expect(top.labels.map((label) => label.text)).toEqual(['µ', 'µm']);
  });

  it('SREF without STRANS is a plain shift', async () => {
    const { top } = await readTop(sref('LEAF', { x: '00000064', y: 'FFFFFF9C' }));
    expect(referenceAt(top.references, 0)).toMatchObject({
      cell: 'LEAF',
      transform: [1, 0, 100, 0, 1, -100],
      magnification: 1,
      columns: 1,
      rows: 1,
    });
  });

  // STRANS bit 0 is the leftmost: reflection about X comes before the rotation, which is counter-clockwise.
  // Source: GDS II Stream Format Manual 6.0, STRANS and ANGLE. Matrices worked by hand.
  it.each([
    ['90 degrees', { angle: REAL8.deg90 }, [0, -1, 0, 1, 0, 0]],
    ['180 degrees', { angle: REAL8.deg180 }, [-1, 0, 0, 0, -1, 0]],
    ['270 degrees', { angle: REAL8.deg270 }, [0, 1, 0, -1, 0, 0]],
    ['reflected', { strans: '8000' }, [1, 0, 0, 0, -1, 0]],
    ['reflected, 90 degrees', { strans: '8000', angle: REAL8.deg90 }, [0, 1, 0, 1, 0, 0]],
    ['magnified', { strans: '0000', mag: REAL8.twoAndHalf }, [2.5, 0, 0, 0, 2.5, 0]],
    [
      'magnified, reflected, 270 degrees',
      { strans: '8000', mag: REAL8.half, angle: REAL8.deg270 },
      [0, -0.5, 0, -0.5, 0, 0],
    ],
  ])('SREF %s maps exactly', async (_, how, transform) => {
    const { top } = await readTop(sref('LEAF', how));
    expect(referenceAt(top.references, 0).transform).toEqual(transform);
  });

  it('SREF at 30 degrees', async () => {
    const { top } = await readTop(sref('LEAF', { angle: REAL8.deg30 }));
    const [a, b, , c, d] = referenceAt(top.references, 0).transform;
    expect([a, b, c, d].map((value) => value.toFixed(12))).toEqual(
      [Math.sqrt(3) / 2, -0.5, 0.5, Math.sqrt(3) / 2].map((value) => value.toFixed(12)),
    );
  });

  it('AREF: the lattice of its three points is already turned', async () => {
    // Source: GDS II Stream Format Manual 6.0, AREF: pitch = (P2 - P1) / columns and (P3 - P1) / rows.
    const { top } = await readTop(TURNED_AREF);
    expect(referenceAt(top.references, 0)).toMatchObject({
      transform: [0, 1, 1000, 1, 0, 2000],
      columns: 3,
      rows: 2,
      columnStepDbu: [0, 300],
      rowStepDbu: [-200, 0],
    });
  });

  it('keeps the properties of references, counts those of shapes', async () => {
    const properties = `00 06 2B 02 0001 ${textRecord('2C06', 'u12')} 00 06 2B 02 003D ${textRecord('2C06', 'FILL')}`;
    const onShape = rectangle().replace('00 04 11 00', `${properties}\n00 04 11 00`);
    const { layout, top } = await readTop(sref('LEAF') + sref('LEAF', { properties }) + onShape);
    expect(referenceAt(top.references, 0).properties.size).toBe(0);
    expect([...referenceAt(top.references, 1).properties]).toEqual([
      [1, 'u12'],
      [61, 'FILL'],
    ]);
    expect(layout.notes.join()).toContain('2 properties');
  });

  it('notes the absolute bits of STRANS (13 and 14 from the left)', async () => {
    const { layout } = await readTop(sref('LEAF', { strans: '0004' }) + sref('LEAF', { strans: '0002' }));
    expect(layout.notes).toEqual([
      '1 reference(s) with the absolute-magnification bit, read as relative.',
      '1 reference(s) with the absolute-angle bit, read as relative.',
    ]);
  });

  it('tolerates and counts shapes that cover nothing', async () => {
    const fold = rectangle().replace(
      /00 2C 10 03[\s0-9A-F]+?(?=\n {2}00 04 11)/,
      '00 24 10 03 00000000 00000000 00000005 00000000 00000009 00000000 00000000 00000000',
    );
    const point = wire('0002').replace(/00 14 10 03.*/, '00 0C 10 03 00000005 00000006');
    const open = rectangle()
      .replace(/00 2C 10 03/, '00 24 10 03')
      .replace(/00000000 00000000\n\n/, '\n');
    const { layout } = await readTop(fold + wire('0000', '00000000') + point + open);
    expect(layout.notes.map((note) => note.split(' ').slice(0, 2).join(' '))).toEqual([
      '1 polygon(s)',
      '1 polygon(s)',
      '1 path(s)',
      '1 path(s)',
    ]);
  });
});

describe('GDSII library', () => {
  const bytes = library(EVERY_ELEMENT);

  it('reads a library with every element', async () => {
    const layout = await read(bytes);
    expect(layout).toMatchObject({ format: 'gdsii', dbuUm: 0.001, topCells: ['TOP'], bytes: bytes.length });
    const top = layout.cells.get('TOP');
    expect(top?.references.count).toBe(4);
    const paths = top?.paths.get('21/0');
    expect(paths && polygonCount(paths)).toBe(5);
  });

  it.skipIf(SECOND_READER_MISSING !== '')(
    `GDSIIConvert reads the same elements${SECOND_READER_MISSING}`,
    async () => {
      const file = files.write('every.gds', bytes);
      const second = linesOfSecondReader(file);
      expect([...second.values()].flat()).toHaveLength(13);
      expect(linesOfLayout(await readGdsii(file))).toEqual(second);
    },
  );

  it('looks through gzip, whatever the name', async () => {
    const plain = await read(bytes);
    const packed = await read(gzipSync(bytes));
    expect(linesOfLayout(packed)).toEqual(linesOfLayout(plain));
    expect(packed.bytes).toBe(bytes.length);
  });

  it('reads a file in two gzip members', async () => {
    const packed = Buffer.concat([gzipSync(bytes.subarray(0, 100)), gzipSync(bytes.subarray(100))]);
    expect((await read(packed)).cells.size).toBe(2);
  });

  it('reads the same whatever the chunks of the file', async () => {
    // Beyond the 4 MiB and 1 MiB in which plain and packed files are read: records lie across the seams.
    const topShapes = 70_000;
    const options = { seed: 31, levels: 1, references: 0, topReferences: 50, topShapes };
    const large = randomLibrary({ ...options, angles: [0, 30], magnifications: [1, 2] });
    expect(large.length).toBeGreaterThan(4.5 * 2 ** 20);
    const plain = await read(large);
    const top = plain.cells.get('TOP');
    const blocks = [...(top?.polygons.values() ?? []), ...(top?.paths.values() ?? [])];
    expect(blocks.reduce((sum, block) => sum + polygonCount(block), 0)).toBe(topShapes);
    const packed = await read(gzipSync(large, { level: 1 }));
    expect(packed.cells.get('TOP')?.references).toEqual(top?.references);
    expect(linesOfLayout(packed).get('TOP')?.join('\n')).toBe(linesOfLayout(plain).get('TOP')?.join('\n'));
  });

  it.each([1, 3, 2048 - 17])('takes %d bytes of NUL after ENDLIB silently', async (padding) => {
    const layout = await read(Buffer.concat([bytes, Buffer.alloc(padding)]));
    expect(layout.notes.join()).not.toContain('after ENDLIB');
  });

  it('ignores other bytes after ENDLIB with a note', async () => {
    const layout = await read(Buffer.concat([bytes, hex('00 00 41 42 43 44')]));
    expect(layout.notes.join()).toContain('4 byte(s) other than NUL after ENDLIB');
  });

  it('takes database units other than 1 nm', async () => {
    // 5e-9 m and 1e-10 m per database unit; encodings as in the test of the 8-byte real.
    const unit = (metres: string) => `00 14 03 05 3F 14 7A E1 47 AE 14 7B ${metres}`;
    const five = await read(library(structure('A', rectangle()), unit('3A 15 79 8E E2 30 8C 3A')));
    const tenth = await read(library(structure('A', rectangle()), unit('38 6D F3 7F 67 5E F6 EB')));
    expect([five.dbuUm, tenth.dbuUm]).toEqual([0.005, 0.0001]);
  });

  it('reads over all header records and those reserved or private', async () => {
    const extras = hex(`
      00 06 00 02 0003
      00 1C 01 02 0046 0001 0001 0000 0000 0000 007D 000C 0005 0016 0031 0016 # years since 1900
      00 06 39 02 0004        # LIBDIRSIZE
      ${textRecord('3A06', 'rules.sp')}
      00 08 3B 02 0001 0007   # LIBSECUR
      ${textRecord('0206', 'LIBRARY')}
      00 5C 1F 06 ${Buffer.from('OTHER.DB'.padEnd(88, '\0')).toString('hex')} # REFLIBS
      00 08 20 06 464F4E54    # FONTS
      00 06 23 06 4154        # ATTRTABLE
      00 06 22 02 0003        # GENERATIONS
      00 06 36 02 0001        # FORMAT 1: filtered
      ${textRecord('3706', '1 5-7 ; 0-63')}
      00 04 38 00             # ENDMASKS
      00 14 03 05 3E 41 89 37 4B C6 A7 F0 39 44 B8 2F A0 9B 5A 53
      00 1C 05 02 0000 0000 0000 0000 0000 0000 0000 0000 0000 0000 0000 0000
      ${textRecord('0606', 'A')}
      00 06 34 01 0000        # STRCLASS
      ${rectangle()}
      00 04 07 00 00 04 04 00`);
    const layout = await read(extras);
    expect(layout.topCells).toEqual(['A']);
    expect(layout.notes).toEqual([
      '4 record(s) that the stream format reserves or leaves to programs, skipped.',
      'The file names reference libraries (OTHER.DB), not opened.',
    ]);
  });

  it('lists cells that nobody refers to, in file order', async () => {
    const layout = await read(
      library(structure('Z', sref('M')) + structure('M', rectangle()) + structure('A', rectangle())),
    );
    expect(layout.topCells).toEqual(['Z', 'A']);
  });
});
