/** Bombs, amplification and numbers too large: OASIS files that would ask for more than a machine has. */
import { deflateRawSync, gzipSync } from 'node:zlib';
import { afterAll, describe, expect, it } from 'vitest';
import { type OasisOptions, readOasis } from '../../../pipeline/formats/layout/oasis.ts';
import { hex, scratch } from '../../fixtures/layout/gdsii-bytes.ts';
import { cell, MAGIC, oasisFile, RECTANGLE, START, u } from '../../fixtures/layout/oasis-bytes.ts';
import { block } from '../../fixtures/layout/oasis-writer.ts';

const files = scratch();
afterAll(files.remove);

const readBytes = (bytes: Uint8Array, options?: OasisOptions) =>
  readOasis(files.write('l.oas', bytes), options);
const read = (records: string) => readBytes(oasisFile(records));
const hexOf = (bytes: Buffer) => bytes.toString('hex');

describe('CBLOCK', () => {
  const inner = hex(cell('A', RECTANGLE));
  const packed = deflateRawSync(inner);
  const raw = (type: string, size: number, packedSize: number, bytes: Buffer) =>
    `22 ${type} ${u(size)} ${u(packedSize)} ${hexOf(bytes)}`;

  it.each([
    [
      'another compression',
      raw('01', inner.length, packed.length, packed),
      'unsupported',
      'compression type 0',
    ],
    [
      'more than stated',
      raw('00', inner.length - 1, packed.length, packed),
      'inconsistent',
      `${inner.length - 1} unpacked`,
    ],
    [
      'less than stated',
      raw('00', inner.length + 1, packed.length, packed),
      'inconsistent',
      `${inner.length + 1} unpacked`,
    ],
    [
      'a stream that ends before its bytes',
      raw('00', inner.length, packed.length + 2, Buffer.concat([packed, Buffer.alloc(2)])),
      'inconsistent',
      'packed bytes',
    ],
    [
      'a cut stream',
      raw('00', inner.length, packed.length - 3, packed.subarray(0, -3)),
      'malformed',
      'DEFLATE',
    ],
    ['no DEFLATE', raw('00', 40, 4, Buffer.from('FFFFFFFF', 'hex')), 'malformed', 'DEFLATE'],
    ['a zlib header', raw('00', 40, 4, Buffer.from('789C0300', 'hex')), 'malformed', ''],
    [
      'a size beyond what DEFLATE can do',
      raw('00', 2 ** 40, packed.length, packed),
      'malformed',
      'as far as DEFLATE',
    ],
  ])('with %s', async (_, record, tag, expected) => {
    await expect(read(record)).rejects.toMatchObject({
      tag,
      fields: { place: 'byte 22, record 2 (CBLOCK)', expected: expect.stringContaining(expected) },
    });
  });

  it('bombs are refused by a limit with a name', async () => {
    // 64 MiB of PAD records in 65 kB; such a file may unpack to 32 MiB and 100 times its size.
    const bomb = block(Buffer.alloc(64 * 2 ** 20));
    await expect(read(`${hexOf(bomb)}`)).rejects.toMatchObject({
      tag: 'limit',
      fields: { expected: expect.stringContaining('maximumUnpackedBytes') },
    });
    const bytes = oasisFile(`${hexOf(bomb)} ${cell('A', '')}`);
    await expect(readBytes(bytes, { maximumUnpackedBytes: 2 ** 27 })).resolves.toBeDefined();
  });
});

describe('amplification', () => {
  it.each([
    // A square again and again, each time 2 bytes: 18 million from 36 MB of CBLOCK would be 650 MB.
    [
      'shapes that take up everything',
      () => `${cell('A', '14 DB 01 00 01 00 00')} ${hexOf(block(Buffer.alloc(36e6, hex('1400'))))}`,
    ],
    [
      'a list of places taken up',
      () => cell('A', `14 DF 01 00 01 00 00 0A ${u(4998)} ${'60'.repeat(4999)} ${'14 04 00'.repeat(3000)}`),
    ],
    ['texts on a lattice', () => cell('A', `13 5F 01 41 01 02 00 00 01 ${u(2 ** 30)} ${u(2 ** 30)} 01 01`)],
    [
      'placements on a list taken up',
      () => cell('A', `11 B8 01 42 00 00 0A ${u(4998)} ${'60'.repeat(4999)} ${'11 08 00'.repeat(900)}`),
    ],
  ])('by %s is refused by a limit with a name', async (_, records) => {
    await expect(read(records())).rejects.toMatchObject({
      tag: 'limit',
      fields: { expected: expect.stringContaining('maximumLayoutBytes') },
    });
  });

  it('the limit can be set', async () => {
    const records = cell('A', `14 DF 01 00 01 00 00 0A ${u(98)} ${'60'.repeat(99)}`);
    await expect(readBytes(oasisFile(records), { maximumLayoutBytes: 4000 })).rejects.toMatchObject({
      tag: 'limit',
    });
    await expect(readBytes(oasisFile(records), { maximumLayoutBytes: 10_000 })).resolves.toBeDefined();
  });

  it('70 000 drawn layers are too many', async () => {
    const shapes = Array.from({ length: 70_000 }, (_, n) => `1401${u(n)}`).join('');
    await expect(read(cell('A', `14 DB 01 00 01 00 00 ${shapes}`))).rejects.toMatchObject({ tag: 'limit' });
  });

  it('coordinates beyond 2^53 are refused', async () => {
    const far = 'FE FF FF FF FF FF FF 1F';
    for (const record of [
      `14 DB 01 00 05 ${far} 00`,
      `10 14 DB 01 00 01 ${far} 00 14 10 ${far}`,
      `14 DF 01 00 01 ${far} 00 02 00 05`,
      `10 11 B0 01 41 ${far} 00 11 20 ${far}`,
      `10 13 5B 01 41 01 02 ${far} 00 13 10 ${far}`,
    ]) {
      await expect(read(cell('A', record))).rejects.toMatchObject({ tag: 'limit' });
    }
  });
});

describe('gzip', () => {
  it('is looked through', async () => {
    const layout = await readBytes(gzipSync(oasisFile(cell('A', RECTANGLE))));
    expect(layout.cells.get('A')?.polygons.has('68/20')).toBe(true);
  });

  it('bombs are refused by a limit with a name', async () => {
    const bomb = gzipSync(Buffer.concat([hex(`${MAGIC} ${START}`), Buffer.alloc(120 * 2 ** 20)]));
    await expect(readBytes(bomb)).rejects.toMatchObject({
      tag: 'limit',
      fields: { expected: expect.stringContaining('maximumUnpackedBytes') },
    });
  });

  it('a cut file is refused', async () => {
    const whole = gzipSync(oasisFile(cell('A', RECTANGLE)));
    await expect(readBytes(whole.subarray(0, -12))).rejects.toMatchObject({ tag: 'truncated' });
  });
});
