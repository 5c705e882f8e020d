/** Wrong GDSII: one clear fault each, with the byte and record it was found at. */
import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';
import { afterAll, describe, expect, it } from 'vitest';
import type { ReadOptions } from '../../../pipeline/formats/layout/byte-source.ts';
import { readGdsii } from '../../../pipeline/formats/layout/gdsii.ts';
import { InputFault, type InputTag } from '../../../shared/errors.ts';
import {
  BEGIN_STRUCTURE,
  END_LIBRARY,
  END_STRUCTURE,
  head,
  hex,
  library,
  scratch,
  structure,
  textRecord,
} from '../../fixtures/layout/gdsii-bytes.ts';
import { EVERY_ELEMENT, rectangle, sref, TURNED_AREF, wire } from '../../fixtures/layout/gdsii-elements.ts';

const files = scratch();
afterAll(files.remove);

async function faultOf(bytes: Uint8Array, options?: ReadOptions): Promise<InputFault> {
  const file = files.write('wrong.gds', bytes);
  const error = await readGdsii(file, options).then(
    () => undefined,
    (cause: unknown) => cause,
  );
  if (!(error instanceof InputFault)) throw new Error(`expected an InputFault, got ${String(error)}`);
  expect(error.fields.file).toBe(file);
  expect(error.fields.remedy).toBeTruthy();
  return error;
}

/** Byte at which the record of "record 7 ..." begins: the lengths of those before it, added up. */
function offsetOfRecord(bytes: Buffer, place: string): number {
  let offset = 0;
  for (let n = Number(place.split(' ')[1]); n > 1; n--) offset += bytes.readUInt16BE(offset);
  return offset;
}

/** A library whose structure A holds the given elements; the first of them is record 7. */
const inStructure = (elements: string): Buffer => library(structure('A', elements));
const LEAF = structure('LEAF', rectangle());

const CASES: readonly (readonly [string, Buffer, InputTag, string, RegExp])[] = [
  ['an empty file', Buffer.alloc(0), 'truncated', 'record 1', /HEADER.*end of the file/],
  ['a text file', Buffer.from('GIF89a, no layout'), 'malformed', 'record 1', /even record length/],
  ['a first record other than HEADER', hex('00 04 04 00'), 'malformed', 'record 1 (ENDLIB)', /HEADER/],
  ['an odd record length', inStructure('00 05 08 00 00'), 'malformed', 'record 7', /even.*found 5/],
  ['a record length of 0', inStructure('00 00 08 00'), 'malformed', 'record 7', /found 0/],
  [
    'a wrong data type',
    inStructure('00 04 08 02'),
    'malformed',
    'record 7 (BOUNDARY)',
    /data type 0.*data type 2/,
  ],
  [
    'a wrong size',
    inStructure('00 04 08 00 00 08 0D 02 00000001'),
    'malformed',
    'record 8 (LAYER)',
    /2 bytes.*found 4/,
  ],
  [
    'an unknown record',
    inStructure('00 04 F0 00'),
    'malformed',
    'record 7 (unknown record 0xf0)',
    /BOUNDARY/,
  ],
  [
    'an element in an element',
    inStructure('00 04 08 00 00 04 09 00'),
    'malformed',
    'record 8 (PATH)',
    /LAYER.*found PATH/,
  ],
  [
    'a missing ENDEL',
    inStructure(rectangle().replace(/00 04 11 00.*/, '')),
    'malformed',
    'record 11 (ENDSTR)',
    /ENDEL/,
  ],
  [
    'ENDEL before XY',
    inStructure('00 04 08 00 00 04 11 00'),
    'malformed',
    'record 8 (ENDEL)',
    /XY.*found ENDEL/,
  ],
  [
    'XY before LAYER',
    inStructure('00 04 08 00 00 0C 10 03 00000000 00000000'),
    'malformed',
    'record 8 (XY)',
    /LAYER before XY/,
  ],
  [
    'XY that is no list of pairs',
    inStructure('00 04 08 00 00 08 10 03 00000000'),
    'malformed',
    'record 8 (XY)',
    /pairs/,
  ],
  [
    'a BOUNDARY of two points',
    inStructure(rectangle().replaceAll('00000032', '00000000')),
    'malformed',
    'record 10 (XY)',
    /3 distinct points.*found 2/,
  ],
  ['PATHTYPE 3', inStructure(wire('0003')), 'unsupported', 'record 12 (XY)', /found 3/],
  [
    'a magnification of 0',
    library(LEAF + structure('A', sref('LEAF', { mag: '00 00 00 00 00 00 00 00' }))),
    'malformed',
    'record 17 (MAG)',
    /above 0/,
  ],
  [
    'two points for an SREF',
    inStructure(`00 04 0A 00 ${textRecord('1206', 'A')} 00 14 10 03 ${'00000000'.repeat(4)}`),
    'malformed',
    'record 9 (XY)',
    /1 point.*found 2/,
  ],
  [
    'an SREF without SNAME',
    inStructure('00 04 0A 00 00 0C 10 03 00000000 00000000'),
    'malformed',
    'record 8 (XY)',
    /SNAME/,
  ],
  [
    'an AREF without COLROW',
    inStructure(TURNED_AREF.replace(/00 08 13 02.*/, '')),
    'malformed',
    'record 11 (XY)',
    /COLROW/,
  ],
  [
    'an AREF without columns',
    inStructure(TURNED_AREF.replace('0003 0002', '0000 0002')),
    'malformed',
    'record 11 (COLROW)',
    /0 columns/,
  ],
  [
    'a TEXT without STRING',
    inStructure('00 04 0C 00 00 06 0D 02 0001 00 06 16 02 0001 00 0C 10 03 00000000 00000000 00 04 11 00'),
    'malformed',
    'record 11 (ENDEL)',
    /STRING/,
  ],
  ['no UNITS', hex(`${head('')}${BEGIN_STRUCTURE}`), 'malformed', 'record 4 (BGNSTR)', /UNITS/],
  [
    'a unit of nothing',
    hex(head('00 14 03 05 3E 41 89 37 4B C6 A7 F0 00 00 00 00 00 00 00 00')),
    'malformed',
    'record 4 (UNITS)',
    /database unit/,
  ],
  ['a structure without a name', library(structure('', '')), 'malformed', 'record 6 (STRNAME)', /name/],
  [
    'a second structure of one name',
    library(LEAF + LEAF),
    'inconsistent',
    'record 14 (STRNAME)',
    /"LEAF" a second time/,
  ],
  [
    'a second UNITS among the structures',
    hex(`${head()}${structure('A', '')}00 14 03 05`),
    'truncated',
    'record 8',
    /whole record/,
  ],
  [
    'an end within a record',
    inStructure(rectangle()).subarray(0, 120),
    'truncated',
    'record 10',
    /after 10 of its bytes/,
  ],
  ['an end within an element', inStructure(rectangle()).subarray(0, 154), 'truncated', 'record 11', /ENDEL/],
  [
    'no ENDLIB',
    hex(`${head()}${BEGIN_STRUCTURE}${textRecord('0606', 'A')}${END_STRUCTURE}`),
    'truncated',
    'record 8',
    /BGNSTR.*ENDLIB/,
  ],
];

describe('wrong GDSII files', () => {
  it.each(CASES)('%s', async (_, bytes, tag, place, message) => {
    const fault = await faultOf(bytes);
    expect(fault.tag).toBe(tag);
    expect(fault.fields.place).toContain(`byte ${offsetOfRecord(bytes, place)}, ${place}`);
    expect(fault.message.replaceAll('\n', ' ')).toMatch(message);
  });

  it('names a missing cell, who asks for it, where, and the nearest name', async () => {
    const bytes = library(structure('TOP', sref('LEAVE')) + LEAF);
    const fault = await faultOf(bytes);
    expect(fault.tag).toBe('inconsistent');
    const offset = bytes.indexOf(hex(textRecord('1206', 'LEAVE')));
    expect(fault.fields.place).toBe(`byte ${offset}, record 8 (SNAME)`);
    expect(fault.message).toMatch(/"LEAVE", which "TOP" refers to.*"LEAF"/);
  });

  it('names the circle of references', async () => {
    const cell = (name: string, child: string) => structure(name, sref(child));
    const fault = await faultOf(library(cell('TOP', 'A') + cell('A', 'B') + cell('B', 'C') + cell('C', 'A')));
    expect(fault.tag).toBe('inconsistent');
    expect(fault.fields.found).toBe('"A" > "B" > "C" > "A"');
  });

  it('names a cell that contains itself', async () => {
    const fault = await faultOf(library(structure('A', sref('A'))));
    expect(fault.fields.found).toBe('"A" > "A"');
  });

  it('refuses a hierarchy deeper than any design, without running out of stack', async () => {
    const levels = 6_000;
    let structures = structure('c0', rectangle());
    const parts: string[] = [structures];
    for (let n = 1; n <= levels; n++) parts.push(structure(`c${n}`, sref(`c${n - 1}`)));
    structures = parts.join('');
    const fault = await faultOf(library(structures));
    expect(fault.tag).toBe('limit');
    expect(fault.message).toMatch(/at most 512 levels/);
  });

  it('tells a cut gzip file from a damaged one', async () => {
    const packed = gzipSync(library(EVERY_ELEMENT));
    expect((await faultOf(packed.subarray(0, packed.length - 12))).tag).toBe('truncated');
    const damaged = Buffer.from(packed);
    damaged[30] ^= 0xff;
    expect((await faultOf(damaged)).tag).toBe('malformed');
  });

  it('names the limit on what a compressed file may unpack to', async () => {
    const packed = gzipSync(Buffer.concat([library(EVERY_ELEMENT), Buffer.alloc(5_000_000)]));
    const fault = await faultOf(packed, { maximumUnpackedBytes: 1_000_000 });
    expect(fault.tag).toBe('limit');
    expect(fault.message).toMatch(/1000000 bytes.*maximumUnpackedBytes/);
  });

  it('tells a missing file from a folder', async () => {
    await expect(readGdsii(join(files.folder, 'none.gds'))).rejects.toMatchObject({ tag: 'missing-file' });
    mkdirSync(join(files.folder, 'folder.gds'));
    await expect(readGdsii(join(files.folder, 'folder.gds'))).rejects.toMatchObject({ tag: 'malformed' });
  });

  it('stops between chunks when told to', async () => {
    const file = files.write('stop.gds', library(EVERY_ELEMENT));
    await expect(readGdsii(file, { signal: AbortSignal.abort() })).rejects.toMatchObject({
      name: 'AbortError',
    });
  });

  it('says nothing wrong of the same library when whole', async () => {
    const file = files.write('right.gds', hex(`${head()}${LEAF}${END_LIBRARY}`));
    await expect(readGdsii(file)).resolves.toMatchObject({ topCells: ['LEAF'], notes: [] });
  });
});
