/** HDF5 files that are unfit, damaged or forged: each ends in one InputFault, and no other file is read for them. */
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { openHdf5Volume } from '../../../pipeline/formats/volume/hdf5.ts';
import { InputFault, type InputTag } from '../../../shared/errors.ts';
import { faultOf } from '../../fixtures/volume/boxes.ts';
import { mutated, readThrough } from '../../fixtures/volume/mutations.ts';
import { h5py, run } from '../../fixtures/volume/outside-programs.ts';
import { generator } from '../../fixtures/volume/random.ts';
import { scratchFolder } from '../../fixtures/volume/stacks.ts';

const { folder, remove } = scratchFolder();
afterAll(remove);
const at = (name: string): string => join(folder, `${name}.h5`);

describe('what is no HDF5 file', () => {
  it.each([
    ['nothing', ''],
    ['text', 'not an HDF5 file at all'],
    ['the mark alone', '\x89HDF\r\n\x1a\n'],
    ['the mark and noise', `\x89HDF\r\n\x1a\n${'\xff'.repeat(4000)}`],
  ])('%s', async (_, bytes) => {
    writeFileSync(at('none'), bytes, 'latin1');
    const fault = await faultOf(openHdf5Volume(at('none'), { nameOf: () => 'scan.h5' }));
    expect(fault.tag).toBe('malformed');
    expect(fault.message).toMatch(/^scan\.h5: expected an HDF5 file, found /);
    expect(fault.fields.remedy).toBeTruthy();
  });

  it('no file, and a folder', async () => {
    expect((await faultOf(openHdf5Volume(at('nowhere')))).tag).toBe('missing-file');
    mkdirSync(at('folder'));
    expect((await faultOf(openHdf5Volume(at('folder')))).message).toContain('found a folder');
  });
});

describe.skipIf(!h5py.path)(`unfit files by h5py${h5py.note}`, () => {
  beforeAll(() => run(h5py, [join(import.meta.dirname, '../../fixtures/volume/make-hdf5.py'), folder]));

  const unfit: readonly (readonly [string, string | undefined, InputTag, RegExp])[] = [
    [
      'several',
      undefined,
      'inconsistent',
      /found 2: \/a\/one \(4 x 5 x 6\), \/b\/two \(3 x 5 x 6\)\n.*Add dataset:/,
    ],
    ['none', undefined, 'unsupported', /found only \/flat \(5 x 6\)/],
    ['empty', undefined, 'unsupported', /found no dataset at all/],
    ['two-times', undefined, 'unsupported', /found only \/volume \(2 x 4 x 5 x 6\)/],
    ['two-times', 'volume', 'unsupported', /three axes.*found 4 \(2 x 4 x 5 x 6\)/],
    ['complex', undefined, 'unsupported', /\/volume \(4 x 5 x 6, compound\)/],
    [
      'complex',
      '/volume',
      'unsupported',
      /integers or floating-point numbers, found values of the kind compound/,
    ],
    ['texts', '/volume', 'unsupported', /kind string/],
    ['booleans', '/volume', 'unsupported', /kind enumeration/],
    ['no-voxels', undefined, 'malformed', /found 0 slices x 4 rows x 4 columns/],
    ['null-space', '/volume', 'unsupported', /three axes.*found none/],
    ['layout-lzf', undefined, 'unsupported', /found the filter lzf \(number 32000\)/],
    ['virtual', undefined, 'unsupported', /a virtual dataset that draws on .*several\.h5/],
    ['external-storage', undefined, 'unsupported', /values lie in another file/],
    ['only-outside', undefined, 'unsupported', /links to other files at \/volume/],
    ['only-outside', 'volume', 'unsupported', /a link to another file, "several\.h5"/],
    ['links', 'group/inner/one', 'unsupported', /"\/group\/inner": .*a link to another file/],
    ['links', 'broken', 'missing-file', /found a broken link; the file holds .*\/real/],
    ['links', 'absent', 'missing-file', /found nothing of that name/],
    ['links', 'group', 'missing-file', /expected a dataset, found a group/],
    ['links', 'real/more', 'missing-file', /a group on the way to \/real\/more, found a dataset/],
    ['links', '/', 'malformed', /found the root group/],
  ];
  it.each(unfit)('%s, dataset %s', async (name, dataset, tag, message) => {
    const fault = await faultOf(openHdf5Volume(at(name), dataset === undefined ? {} : { dataset }));
    expect(fault.message).toMatch(message);
    expect(fault.tag).toBe(tag);
    expect(fault.fields.file).toBe(at(name));
    expect(fault.fields.remedy).toBeTruthy();
  });

  it('bytes of a packed chunk changed: named by its dataset, and the rest is still read', async () => {
    const bytes = readFileSync(at('layout-gzip-shuffle-checksum'));
    // The last chunk written stands at the end of the file.
    bytes.fill(0x55, bytes.length - 60);
    writeFileSync(at('changed'), bytes);
    const source = await openHdf5Volume(at('changed'));
    const fault = await faultOf(source.read({ k: [0, 7] }));
    expect(fault.message).toMatch(/"\/volume": expected readable HDF5 data, found /);
    expect((await source.read({ k: [0, 1] })).length).toBe(37 * 53);
    await source.close();
  });

  it('a structure on which the library would run for ever', async () => {
    const source = readFileSync(at('layout-scale-offset'));
    // The count of values of a filter, in the message that lists the filters.
    const name = source.indexOf('scaleoffset');
    expect(name).toBeGreaterThan(0);
    const bytes = Buffer.from(source);
    bytes.fill(0xff, name - 4, name);
    writeFileSync(at('forged'), bytes);
    const fault = await faultOf(readThrough(openHdf5Volume(at('forged'))));
    // What the library makes of it depends on its version: it runs for ever, or off the end.
    expect(fault.message).toMatch(/runs for ever|ran off end/);
  }, 30_000);

  it('cut off anywhere', async () => {
    const whole = readFileSync(at('layout-gzip'));
    for (let n = 0; n < 12; n++) {
      writeFileSync(at('cut'), whole.subarray(0, Math.floor((n * whole.length) / 12)));
      await faultOf(readThrough(openHdf5Volume(at('cut'))));
    }
  }, 30_000);

  it('bytes changed at random: voxels or a fault, never more', async () => {
    const random = generator(20260504);
    const names = ['layout-gzip', 'layout-contiguous', 'layout-latest', 'layout-scale-offset', 'nexus'];
    const sources = names.map((name) => readFileSync(at(name)));
    let faults = 0;
    const lane = async (file: string, rounds: number): Promise<void> => {
      for (let round = 0; round < rounds; round++) {
        writeFileSync(file, mutated(sources[round % sources.length], random));
        const end = await readThrough(openHdf5Volume(file)).catch((error: unknown) => error);
        if (end instanceof InputFault) faults++;
        else expect(end, `round ${round}`).not.toBeInstanceOf(Error);
      }
    };
    await Promise.all([lane(at('changed-a'), 25), lane(at('changed-b'), 25)]);
    expect(faults).toBeGreaterThan(8);
  }, 180_000);
});
