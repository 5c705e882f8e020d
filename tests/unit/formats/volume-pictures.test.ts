/** PNG and JPEG series by ImageMagick, against the values that they were made from. */
import { execFileSync } from 'node:child_process';
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { openPictureSeries } from '../../../pipeline/formats/volume/pictures.ts';
import { openVolume } from '../../../pipeline/formats/volume/registry.ts';
import { InputFault, type InputTag } from '../../../shared/errors.ts';
import { expectVoxels, faultOf } from '../../fixtures/volume/boxes.ts';
import { mutated, readThrough } from '../../fixtures/volume/mutations.ts';
import { convert } from '../../fixtures/volume/outside-programs.ts';
import { greys8, greys16, makePicture, makePictures, PICTURE } from '../../fixtures/volume/pictures.ts';
import { generator } from '../../fixtures/volume/random.ts';
import { bytesOf, readWhole, scratchFolder } from '../../fixtures/volume/stacks.ts';

const { folder, remove } = scratchFolder();
afterAll(remove);
const at = (name: string): string => join(folder, name);

describe.skipIf(!convert.path)(`picture series${convert.note}`, () => {
  const seeds = [1, 2, 3];

  it.each([
    ['8 bits', 8, []],
    ['16 bits', 16, []],
    ['interlaced, 16 bits', 16, ['-interlace', 'PNG']],
    ['colour that is grey', 8, ['-define', 'png:color-type=2']],
    ['colour that is grey, 16 bits', 16, ['-define', 'png:color-type=2']],
    ['a palette of greys', 8, ['-define', 'png:color-type=3']],
    ['opaque, 16 bits', 16, ['-alpha', 'opaque', '-define', 'png:color-type=4']],
    ['opaque', 8, ['-alpha', 'opaque', '-define', 'png:color-type=4']],
    ['with a gamma', 16, ['-gamma', '1', '-set', 'gamma', '0.45455']],
    ['with a print size', 16, ['-density', '300', '-units', 'PixelsPerInch']],
  ] as const)('PNG: %s', async (name, bits, options) => {
    const values = seeds.map((seed) => (bits === 16 ? greys16(seed) : greys8(seed)));
    const files = values.map((grey, n) => makePicture(folder, `${name} ${n}.png`, grey, options));
    const source = await openVolume({ kind: 'pictures', files });
    expect(source.format).toBe('png');
    expect(source.type).toBe(`uint${bits}`);
    expect(source.files).toEqual(files);
    expect(source.metadata.voxelNm).toEqual({ x: null, y: null, z: null });
    await expectVoxels(source, Buffer.concat(values.map((grey) => bytesOf(grey))));
    await source.close();
    await expect(source.read({ k: [0, 1] })).rejects.toThrow(/closed/);
  });

  it.each([
    ['baseline', []],
    ['progressive', ['-interlace', 'JPEG']],
    ['colour that is grey', ['-colorspace', 'sRGB', '-type', 'TrueColor']],
  ] as const)('JPEG: %s, as ImageMagick decodes it', async (name, options) => {
    const file = makePicture(folder, `${name}.jpg`, greys8(4), ['-quality', '90', ...options]);
    const decoded = execFileSync(convert.path ?? '', [file, '-depth', '8', 'gray:-']);
    const source = await openPictureSeries([file]);
    expect(source.metadata.notes.join()).toContain('JPEG');
    const values = await readWhole(source);
    // Decoders may differ by one in the last step.
    expect(values.length).toBe(decoded.length);
    expect(values.every((value, n) => Math.abs(value - decoded[n]) <= 1)).toBe(true);
  });

  const grey = (name: string, options: readonly string[] = []): string =>
    makePicture(folder, name, greys8(1), options);
  const cases: readonly (readonly [string, () => string[], InputTag, RegExp])[] = [
    [
      'colour',
      () => [grey('c.png', ['-fill', 'red', '-draw', 'point 5,7'])],
      'unsupported',
      /column 5, row 7: .*found colour/,
    ],
    [
      'transparency',
      () => [grey('a.png', ['-alpha', 'set', '-channel', 'A', '-evaluate', 'set', '50%'])],
      'unsupported',
      /colour or transparency/,
    ],
    [
      'one bit',
      () => [
        grey('b.png', ['-threshold', '50%', '-define', 'png:bit-depth=1', '-define', 'png:color-type=0']),
      ],
      'unsupported',
      /grey values of 8 or 16 bits, found 1 bits/,
    ],
    ['colours for print', () => [grey('k.jpg', ['-colorspace', 'CMYK'])], 'unsupported', /colours for print/],
    [
      'another size',
      () => [grey('s1.png'), grey('s2.png', ['-crop', '50x37+0+0', '+repage'])],
      'inconsistent',
      /s2\.png: expected 53 x 37 uint8 png of 1 channel as in .*s1\.png, found 50 x 37/,
    ],
    [
      'another depth',
      () => [grey('s1.png'), makePicture(folder, 's3.png', greys16(1))],
      'inconsistent',
      /found 53 x 37 uint16/,
    ],
    ['another format', () => [grey('s1.png'), grey('s4.jpg')], 'inconsistent', /found 53 x 37 uint8 jpeg/],
  ];
  it.each(cases)('%s', async (_, make, tag, message) => {
    const fault = await faultOf(openPictureSeries(make()));
    expect(fault.message).toMatch(message);
    expect(fault.tag).toBe(tag);
    expect(fault.fields.remedy).toBeTruthy();
  });

  it('colour in a later slice is refused when it is read', async () => {
    const files = [
      grey('t1.png', ['-define', 'png:color-type=2']),
      grey('t2.png', ['-fill', 'blue', '-draw', 'point 9,3', '-define', 'png:color-type=2']),
    ];
    const source = await openPictureSeries(files, { nameOf: (file) => file.slice(folder.length + 1) });
    const fault = await faultOf(source.read({ k: [1, 2] }));
    expect(fault.message).toMatch(/^t2\.png, column 9, row 3: /);
    await source.close();
  });

  it.each([2, 3, 6, 8])('orientation %i in EXIF is refused', async (orientation) => {
    const whole = readFileSync(grey('o.jpg'));
    // @source Exif 2.32, 4.5.4 and 4.6: APP1, "Exif", a TIFF header, one entry: tag 0x0112, SHORT, count 1.
    const tiff = Buffer.from('49492a00080000000100120103000100000000000000000000000000', 'hex');
    tiff.writeUInt16LE(orientation, 18);
    const body = Buffer.concat([Buffer.from('Exif\0\0', 'latin1'), tiff]);
    const length = Buffer.alloc(2);
    length.writeUInt16BE(body.length + 2);
    const marked = Buffer.concat([
      whole.subarray(0, 2),
      Buffer.from([0xff, 0xe1]),
      length,
      body,
      whole.subarray(2),
    ]);
    writeFileSync(at('turned.jpg'), marked);
    const fault = await faultOf(openPictureSeries([at('turned.jpg')]));
    expect(fault.tag).toBe('unsupported');
    expect(fault.message).toContain(`found orientation ${orientation}`);
    tiff.writeUInt16LE(1, 18);
    const upright = Buffer.concat([
      whole.subarray(0, 2),
      Buffer.from([0xff, 0xe1]),
      length,
      Buffer.concat([Buffer.from('Exif\0\0', 'latin1'), tiff]),
      whole.subarray(2),
    ]);
    writeFileSync(at('upright.jpg'), upright);
    expect((await readWhole(await openPictureSeries([at('upright.jpg')]))).length).toBe(
      PICTURE.width * PICTURE.height,
    );
  });

  it('what is no picture', async () => {
    // Other formats that the library knows, some of which lead to other files, never get to it.
    const texts = [
      '',
      'not a picture',
      '<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"/>',
      '\x89PNG\r\n\x1a\n',
      '\xff\xd8\xff',
    ];
    for (const text of texts) {
      writeFileSync(at('text.png'), text, 'latin1');
      expect((await faultOf(openPictureSeries([at('text.png')]))).tag).toBe('malformed');
    }
    expect((await faultOf(openPictureSeries([]))).tag).toBe('missing-file');
    expect((await faultOf(openPictureSeries([at('nowhere.png')]))).tag).toBe('missing-file');
    mkdirSync(at('folder.png'));
    expect((await faultOf(openPictureSeries([at('folder.png')]))).message).toContain('a folder');
  });

  it('a forged size is refused before memory is set aside', async () => {
    const bytes = readFileSync(grey('f.png'));
    bytes.writeUInt32BE(20000, 16);
    bytes.writeUInt32BE(10000, 20);
    writeFileSync(at('forged.png'), bytes);
    expect((await faultOf(openPictureSeries([at('forged.png')]))).tag).toBe('malformed');
    bytes.writeUInt32BE(2 ** 30, 16);
    bytes.writeUInt32BE(2 ** 30, 20);
    writeFileSync(at('forged.png'), bytes);
    await faultOf(openPictureSeries([at('forged.png')]));
  });

  describe('damage', () => {
    beforeAll(() => {
      mkdirSync(at('whole'));
      makePictures(at('whole'));
    });

    it('cut off anywhere', async () => {
      for (const name of ['grey16.png', 'grey8.jpg', 'progressive.jpg']) {
        const whole = readFileSync(join(at('whole'), name));
        for (let n = 0; n < 20; n++) {
          writeFileSync(at(`cut-${name}`), whole.subarray(0, Math.floor((n * whole.length) / 20)));
          await faultOf(openPictureSeries([at(`cut-${name}`)]));
        }
      }
    });

    it('bytes changed at random: voxels or a fault, never more', async () => {
      const random = generator(20260508);
      const names = ['grey8.png', 'grey16.png', 'grey8.jpg', 'progressive.jpg', 'palette.png', 'colour.png'];
      const sources = names.map((name) => [name, readFileSync(join(at('whole'), name))] as const);
      let faults = 0;
      for (let round = 0; round < 400; round++) {
        const [name, whole] = sources[round % sources.length];
        writeFileSync(at(`changed-${name}`), mutated(whole, random, 200));
        const opening = openPictureSeries([join(at('whole'), name), at(`changed-${name}`)]);
        const end = await readThrough(opening).catch((error: unknown) => error);
        if (end instanceof InputFault) faults++;
        else expect(end, `round ${round}`).not.toBeInstanceOf(Error);
      }
      expect(faults).toBeGreaterThan(200);
    }, 60_000);
  });
});
