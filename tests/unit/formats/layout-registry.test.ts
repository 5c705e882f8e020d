import { gzipSync } from 'node:zlib';
import { afterAll, describe, expect, it } from 'vitest';
import { openLayout } from '../../../pipeline/formats/layout/registry.ts';
import { library, scratch, structure } from '../../fixtures/layout/gdsii-bytes.ts';
import { EVERY_ELEMENT, rectangle, sref } from '../../fixtures/layout/gdsii-elements.ts';
import { cell, oasisFile, RECTANGLE } from '../../fixtures/layout/oasis-bytes.ts';

const files = scratch();
afterAll(files.remove);

const ONE_TOP = library(EVERY_ELEMENT);
const TWO_TOPS = library(structure('COUNTER', rectangle()) + structure('SENSOR', rectangle()));

describe('opening a layout', () => {
  it.each([
    ['chip.gds', ONE_TOP],
    ['chip.gds.gz', gzipSync(ONE_TOP)],
    ['chip.oas', ONE_TOP],
    ['chip', gzipSync(ONE_TOP, { level: 9 })],
  ])('goes by the first bytes, not by the name %s', async (name, bytes) => {
    const { layout, top } = await openLayout(files.write(name, bytes));
    expect([layout.format, top]).toEqual(['gdsii', 'TOP']);
  });

  it('takes the named cell, a top cell or not', async () => {
    const { top } = await openLayout(files.write('named.gds', ONE_TOP), { top: 'LEAF' });
    expect(top).toBe('LEAF');
  });

  it('names the nearest cell where the named one is not there', async () => {
    const file = files.write('near.gds', TWO_TOPS);
    await expect(openLayout(file, { top: 'COUNTR' })).rejects.toMatchObject({
      tag: 'inconsistent',
      fields: { expected: 'the top cell "COUNTR"', found: 'no such cell; the nearest name is "COUNTER"' },
    });
  });

  it('lists the candidates where none is named and there are several', async () => {
    const file = files.write('two.gds', TWO_TOPS);
    await expect(openLayout(file)).rejects.toMatchObject({
      tag: 'inconsistent',
      fields: { found: '2: "COUNTER", "SENSOR"' },
    });
  });

  it('says so where there is no cell at all', async () => {
    await expect(openLayout(files.write('none.gds', library('')))).rejects.toMatchObject({
      tag: 'inconsistent',
    });
  });

  it.each([
    ['chip.oas', (bytes: Buffer) => bytes],
    ['chip.oas.gz', (bytes: Buffer) => gzipSync(bytes)],
    ['chip.gds', (bytes: Buffer) => gzipSync(bytes)],
  ])('reads OASIS by its first bytes too (%s)', async (name, pack) => {
    const { layout, top } = await openLayout(files.write(name, pack(oasisFile(cell('TGL7', RECTANGLE)))));
    expect([layout.format, top, layout.cells.size]).toEqual(['oasis', 'TGL7', 1]);
  });

  it.each([
    ['an empty file', Buffer.alloc(0), 'truncated', 'an empty file'],
    ['a picture', Buffer.from('\x89PNG\r\n\x1a\n', 'latin1'), 'malformed', '89 50 4e 47 0d 0a 1a 0a'],
  ])('refuses %s', async (_, bytes, tag, found) => {
    await expect(openLayout(files.write('other', bytes))).rejects.toMatchObject({ tag, fields: { found } });
  });

  it('refuses a broken gzip file', async () => {
    const file = files.write('broken.gz', Buffer.from([0x1f, 0x8b, 8, 0, 0, 0, 0, 0, 0, 3, 0xff, 0xff]));
    await expect(openLayout(file)).rejects.toMatchObject({ tag: 'malformed' });
  });

  it('refuses a gzip bomb by a limit with a name', async () => {
    // 96 MiB of the padding that may follow ENDLIB, packed to 95 kB.
    const file = files.write('bomb.gds.gz', gzipSync(Buffer.concat([ONE_TOP, Buffer.alloc(96 * 2 ** 20)])));
    await expect(openLayout(file)).rejects.toMatchObject({
      tag: 'limit',
      fields: { expected: expect.stringContaining('maximumUnpackedBytes') },
    });
    await expect(openLayout(file, { maximumUnpackedBytes: 2 ** 27 })).resolves.toMatchObject({ top: 'TOP' });
  });

  it('reports progress in bytes of the file on disk', async () => {
    const structures = Array.from({ length: 400 }, (_, n) => structure(`c${n}`, rectangle())).join('');
    const top = structure('TOP', Array.from({ length: 400 }, (_, n) => sref(`c${n}`)).join(''));
    const bytes = library(structures + top);
    const seen: number[] = [];
    await openLayout(files.write('progress.gds', bytes), { onProgress: (read) => seen.push(read) });
    expect(seen.at(-1)).toBe(bytes.length);
  });
});
