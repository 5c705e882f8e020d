/** Damaged, forged and unfit TIFF files: each ends in one InputFault that names file, page and byte. */
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { openTiffStack } from '../../../pipeline/formats/volume/tiff.ts';
import { InputFault, type InputTag } from '../../../shared/errors.ts';
import { generator } from '../../fixtures/random.ts';
import {
  DIRECTORY_AT,
  type HandMadePage,
  handMadeTiff,
  plainEntries,
} from '../../fixtures/volume/hand-made-tiff.ts';
import { run, tiffcp, tifffile } from '../../fixtures/volume/outside-programs.ts';
import { makeTiffs, readWhole, scratchFolder } from '../../fixtures/volume/stacks.ts';

const { folder, remove } = scratchFolder();
const at = (name: string): string => join(folder, name);
afterAll(remove);

async function faultOf(files: readonly string[]): Promise<InputFault> {
  try {
    await readWhole(await openTiffStack(files));
  } catch (error) {
    if (error instanceof InputFault) return error;
    throw error;
  }
  throw new Error(`${files.join(', ')} was read without a fault`);
}

const DATA = Uint8Array.from({ length: 64 }, (_, n) => n);

function made(page: HandMadePage, data = DATA): string {
  const file = at('forged.tif');
  writeFileSync(file, handMadeTiff(page, data));
  return file;
}

describe('forged directories', () => {
  it('the page that the others are changed from is read', async () => {
    const source = await openTiffStack([made({ entries: plainEntries() })]);
    expect([...(await readWhole(source))]).toEqual([...DATA]);
  });

  type Changes = Parameters<typeof plainEntries>[0];
  const cases: readonly (readonly [string, Changes, InputTag, RegExp])[] = [
    ['width of nothing', { 256: [3, 1, 0] }, 'malformed', /at least 1 x 1 pixels, found 0 x 8/],
    ['no width', { 256: null }, 'malformed', /imageWidth \(tag 256\), found no such tag/],
    ['more width than data', { 256: [3, 1, 9] }, 'malformed', /strip 1 to hold 72 bytes .* found 64 bytes/],
    ['a huge page', { 256: [4, 1, 4e9], 257: [4, 1, 4e9] }, 'limit', /4000000000 x 4000000000/],
    [
      'a page beyond its file',
      { 256: [4, 1, 3e4], 257: [4, 1, 3e4], 279: [4, 1, 9e8] },
      'malformed',
      /strip offsets/,
    ],
    ['no strips', { 273: null }, 'malformed', /1 strip offsets \(tag 273\).*found none/],
    ['too many strips', { 273: [4, 0x7fffffff, 8] }, 'malformed', /found 2147483647/],
    ['too few strips', { 278: [3, 1, 4] }, 'malformed', /2 strip offsets.*found 1/],
    ['strips of no rows', { 278: [3, 1, 0] }, 'malformed', /strip of at least 1 x 1/],
    ['no byte counts', { 279: null }, 'malformed', /strip byte counts \(tag 279\).*found none/],
    [
      'a strip beyond the end',
      { 273: [4, 1, 4e9] },
      'truncated',
      /byte 4000000000.*strip 1 of 64 bytes inside/,
    ],
    ['a strip within the header', { 273: [4, 1, 2] }, 'truncated', /byte 2: /],
    [
      'a count that is a fraction',
      { 279: [11, 1, 0x3f800000] },
      'malformed',
      /whole numbers as strip byte counts/,
    ],
    [
      'a strip that swells',
      { 259: [3, 1, 8], 256: [3, 1, 60000], 257: [3, 1, 8] },
      'malformed',
      /480000 bytes/,
    ],
    ['a tile of nothing', { 322: [3, 1, 0], 323: [3, 1, 16] }, 'malformed', /tile of at least 1 x 1/],
    ['a huge tile', { 322: [4, 1, 65536], 323: [4, 1, 65536] }, 'limit', /tile of at most/],
    ['1 bit', { 258: [3, 1, 1] }, 'unsupported', /found unsigned numbers of 1 bits/],
    ['JPEG data that are none', { 259: [3, 1, 7] }, 'malformed', /found JPEG data without their start/],
    ['JPEG of 16 bits', { 259: [3, 1, 7], 258: [3, 1, 16] }, 'unsupported', /8 bits unsigned with JPEG/],
    [
      'Zstandard data that are none',
      { 259: [3, 1, 50000] },
      'malformed',
      /Zstandard data that do not decode/,
    ],
    ['old JPEG', { 259: [3, 1, 6] }, 'unsupported', /found old JPEG/],
    ['an unknown compression', { 259: [3, 1, 12345] }, 'unsupported', /found compression 12345/],
    ['a colour table', { 262: [3, 1, 3] }, 'unsupported', /colour table/],
    ['three samples', { 277: [3, 1, 3] }, 'unsupported', /one sample per pixel \(grey values\), found 3/],
    ['rows from the bottom', { 274: [3, 1, 4] }, 'unsupported', /orientation 4/],
    ['a predictor without a codec', { 317: [3, 1, 2] }, 'unsupported', /predictor 2 with none/],
    ['an unknown predictor', { 259: [3, 1, 5], 317: [3, 1, 9] }, 'unsupported', /predictor 9/],
    [
      'floating-point predictor for integers',
      { 259: [3, 1, 5], 317: [3, 1, 3] },
      'unsupported',
      /predictor 3 .*uint8/,
    ],
    ['an unknown fill order', { 266: [3, 1, 7] }, 'unsupported', /fill order 1 or 2, found 7/],
    ['deflate data that are none', { 259: [3, 1, 8] }, 'malformed', /deflate data that do not decode/],
    [
      'PackBits data that end early',
      { 259: [3, 1, 32773], 257: [3, 1, 16], 278: [3, 1, 16] },
      'malformed',
      /PackBits/,
    ],
    ['only a preview', { 254: [4, 1, 1] }, 'malformed', /found only 1 previews or masks/],
  ];
  it.each(cases)('%s', async (_, changes, tag, message) => {
    const fault = await faultOf([made({ entries: plainEntries(changes) })]);
    expect(fault.message).toMatch(message);
    expect(fault.tag).toBe(tag);
    expect(fault.fields.file).toBe(at('forged.tif'));
    expect(fault.fields.remedy).toBeTruthy();
  });

  it('LZW codes in the old bit order are refused, not misread', async () => {
    const entries = plainEntries({ 259: [3, 1, 5] });
    const fault = await faultOf([
      made(
        { entries },
        Uint8Array.from({ length: 64 }, (_, n) => (n === 1 ? 1 : 0)),
      ),
    ]);
    expect(fault.message).toContain('before TIFF 5.0');
  });

  it('a chain of pages that runs in a circle', async () => {
    const fault = await faultOf([made({ entries: plainEntries(), next: DIRECTORY_AT })]);
    expect(fault.message).toMatch(/page 2, byte 8.*runs in a circle/);
  });

  it('a chain of pages that leaves the file', async () => {
    const fault = await faultOf([made({ entries: plainEntries(), next: 0xfffffff0 })]);
    expect(fault.tag).toBe('truncated');
    expect(fault.message).toContain('page 2, byte 4294967280');
  });

  it('what is no TIFF file', async () => {
    for (const text of [
      '',
      'II',
      'not a TIFF file at all',
      'II*\0\0\0\0\0',
      'MM\0+\0\x04\0\0'.padEnd(32, '\0'),
    ]) {
      writeFileSync(at('text.tif'), text, 'latin1');
      const fault = await faultOf([at('text.tif')]);
      expect(['malformed', 'truncated']).toContain(fault.tag);
    }
    mkdirSync(at('folder.tif'));
    expect((await faultOf([at('folder.tif')])).message).toContain('found a folder');
    expect((await faultOf([at('nowhere.tif')])).tag).toBe('missing-file');
    expect((await faultOf([])).tag).toBe('missing-file');
  });

  it('slices unlike the first one name both files', async () => {
    writeFileSync(at('first.tif'), handMadeTiff({ entries: plainEntries() }, DATA));
    const smaller = plainEntries({ 257: [3, 1, 7] });
    writeFileSync(at('second.tif'), handMadeTiff({ entries: smaller }, DATA));
    const size = await faultOf([at('first.tif'), at('second.tif')]);
    expect(size.tag).toBe('inconsistent');
    expect(size.fields.file).toBe(at('second.tif'));
    expect(size.message).toContain(`expected 8 x 8 uint8 as in ${at('first.tif')}, found 8 x 7 uint8`);
    writeFileSync(at('second.tif'), handMadeTiff({ entries: plainEntries({ 339: [3, 1, 2] }) }, DATA));
    expect((await faultOf([at('first.tif'), at('second.tif')])).message).toContain('found 8 x 8 int8');
  });

  it('messages call files as they are told to', async () => {
    const file = made({ entries: plainEntries({ 256: null }) });
    const opening = openTiffStack([file], { nameOf: () => 'slices/forged.tif' });
    await expect(opening).rejects.toThrow(/^slices\/forged\.tif, page 1, byte 8: /);
  });
});

describe.skipIf(!tifffile.path)(`damaged files by tifffile${tifffile.note}`, () => {
  beforeAll(() => makeTiffs(folder));

  it.each(['rgb', 'rgba', 'float16', 'uint64', 'complex64'])('%s is refused by its name', async (name) => {
    const fault = await faultOf([at(`${name}.tif`)]);
    expect(fault.tag).toBe('unsupported');
    const found = { rgb: '3 (RGB)', rgba: '4 (RGB)', float16: 'floating-point numbers of 16 bits' }[name];
    expect(fault.message).toContain(found ?? 'of 64 bits');
  });

  it('cut off anywhere, a file is known to be cut off when it is opened', async () => {
    const names = ['uint8', 'uint8-bigtiff', 'uint8-deflate-8', 'uint8-tiles', 'uint8-big-stack'];
    for (const name of names) {
      const whole = readFileSync(at(`${name}.tif`));
      for (let length = 0; length < whole.length; length += length < 600 ? 1 : 61) {
        writeFileSync(at('cut.tif'), whole.subarray(0, length));
        const fault = await openTiffStack([at('cut.tif')]).catch((error: unknown) => error);
        expect(fault, `${name} cut to ${length}`).toBeInstanceOf(InputFault);
      }
    }
  }, 60_000);
});

describe.skipIf(!tifffile.path || !tiffcp.path)(
  `bytes changed at random in files by libtiff${tifffile.note}${tiffcp.note}`,
  () => {
    beforeAll(() => makeTiffs(folder));

    const dialects = {
      'plain strips': ['-c', 'none', '-r', '9', 'uint16.tif'],
      'LZW tiles, big-endian': ['-c', 'lzw:2', '-B', '-t', '-w', '32', '-l', '16', 'uint16.tif'],
      'deflate, BigTIFF': ['-c', 'zip:3', '-8', '-r', '20', 'float32.tif'],
      PackBits: ['-c', 'packbits', '-r', '37', 'int8.tif'],
      ImageJ: ['-c', 'none', 'uint16-imagej.tif'],
      JPEG: ['-c', 'jpeg', '-r', '16', 'uint8.tif'],
      Zstandard: ['-c', 'zstd:2', '-r', '9', 'uint16.tif'],
    } as const;

    it.each(Object.entries(dialects))('%s: voxels or a fault, never more', async (name, how) => {
      run(tiffcp, [...how.slice(0, -1), at(how.at(-1) ?? ''), at('source.tif')]);
      const whole = readFileSync(at('source.tif'));
      const directory = name.endsWith('BigTIFF') ? Number(whole.readBigUInt64LE(8)) : offsetOf(whole);
      const random = generator(20260403);
      const before = process.resourceUsage().maxRSS;
      let faults = 0;
      for (let round = 0; round < 120; round++) {
        const bytes = Buffer.from(whole);
        // Three in four changes go to the header and the first directory, where a byte decides most.
        for (let n = 1 + Math.floor(random() * 3); n > 0; n--) {
          const place = random();
          const where = random();
          if (place < 0.1) bytes[Math.floor(where * 16)] = random() * 256;
          else if (place < 0.75) bytes[(directory + Math.floor(where * 300)) % bytes.length] = random() * 256;
          else bytes[Math.floor(where * bytes.length)] = random() * 256;
        }
        writeFileSync(at('changed.tif'), bytes);
        try {
          const voxels = await readWhole(await openTiffStack([at('changed.tif')]));
          expect(voxels.byteLength, `round ${round}`).toBeLessThan(64 * 2 ** 20);
        } catch (error) {
          expect(error, `round ${round}`).toBeInstanceOf(InputFault);
          faults++;
        }
      }
      expect(faults).toBeGreaterThan(20);
      // Kilobytes; the whole run reads files of some 20 kB.
      expect(process.resourceUsage().maxRSS - before).toBeLessThan(256 * 1024);
    });
  },
);

const offsetOf = (bytes: Buffer): number =>
  bytes[0] === 0x49 ? bytes.readUInt32LE(4) : bytes.readUInt32BE(4);
