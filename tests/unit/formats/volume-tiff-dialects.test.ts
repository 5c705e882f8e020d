/**
 * Every dialect of TIFF that is read, in files by tifffile (Python), libtiff's tiffcp and ImageMagick, against the same
 * numbers written as plain bytes by numpy.
 */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { openTiffStack } from '../../../pipeline/formats/volume/tiff.ts';
import { convert, run, tiffcp, tifffile } from '../../fixtures/volume/outside-programs.ts';
import {
  bytesOf,
  makeTiffs,
  plainBytes,
  readWhole,
  SHAPE,
  scratchFolder,
  TYPES,
} from '../../fixtures/volume/stacks.ts';

const { folder, remove } = scratchFolder();
const at = (name: string): string => join(folder, name);
afterAll(remove);

/** Offset of the only strip of a page, found by walking a classic little-endian file. */
function stripOffset(bytes: Buffer, page: number): number {
  let directory = bytes.readUInt32LE(4);
  for (let n = 0; ; n++) {
    const count = bytes.readUInt16LE(directory);
    if (n < page) {
      directory = bytes.readUInt32LE(directory + 2 + 12 * count);
      continue;
    }
    for (let at = directory + 2; ; at += 12)
      if (bytes.readUInt16LE(at) === 273) return bytes.readUInt32LE(at + 8);
  }
}

/** Opens, reads and compares; gives the notes, so that a test can see that the dialect was what it should be. */
async function check(
  files: readonly string[],
  type: (typeof TYPES)[number],
  expected = plainBytes(folder, type),
): Promise<string> {
  const source = await openTiffStack(files);
  const notes = source.metadata.notes.join('; ');
  expect(source.type).toBe(type);
  expect(source.shape).toEqual(SHAPE);
  const voxels = bytesOf(await readWhole(source));
  expect(voxels.equals(expected), `voxels of ${files[0]}`).toBe(true);
  return notes;
}

describe.skipIf(!tifffile.path)(`TIFF stacks by tifffile${tifffile.note}`, () => {
  beforeAll(() => makeTiffs(folder));

  it.each(TYPES)('%s in both byte orders, BigTIFF, deflate with either code, and tiles', async (type) => {
    expect(await check([at(`${type}.tif`)], type)).toContain('little-endian; compression none; strips');
    expect(await check([at(`${type}-big-endian.tif`)], type)).toContain('big-endian');
    await check([at(`${type}-bigtiff.tif`)], type);
    expect(await check([at(`${type}-deflate-8.tif`)], type)).toContain(
      'compression deflate; strips of 53 x 37',
    );
    expect(await check([at(`${type}-deflate-32946.tif`)], type)).toContain('deflate; strips of 53 x 10');
    expect(await check([at(`${type}-tiles.tif`)], type)).toContain('tiles of 32 x 16');
  });

  it.each(['uint8', 'uint16', 'float32'] as const)(
    '%s as a big stack: one directory, more data',
    async (type) => {
      const notes = await check([at(`${type}-big-stack.tif`)], type);
      expect(notes).toContain('3 slices behind a single directory');
    },
  );

  it('one file per slice, and several files of many pages', async () => {
    const slices = [1, 2, 3].map((n) => at(`slice-000${n}.tif`));
    await check(slices, 'uint16');
    const twice = await openTiffStack([at('uint16.tif'), at('uint16-big-endian.tif')]);
    expect(twice.shape.nz).toBe(6);
    const plain = plainBytes(folder, 'uint16');
    expect(bytesOf(await readWhole(twice)).equals(Buffer.concat([plain, plain]))).toBe(true);
  });

  it('differences undone in tiles', async () => {
    expect(await check([at('int16-predictor-2-tiles.tif')], 'int16')).toContain('predictor 2; tiles');
  });

  it('stored numbers where small ones mean bright, previews left out', async () => {
    expect(await check([at('uint16-min-is-white.tif')], 'uint16')).toContain('MinIsWhite');
    expect(await check([at('uint16-preview.tif')], 'uint16')).toContain('1 previews or masks left out');
  });

  it('ImageJ and OME files, the third axis named or not', async () => {
    await check([at('uint16-imagej.tif')], 'uint16');
    await check([at('uint16-ome.tif')], 'uint16');
    expect(await check([at('uint16-imagej-unnamed-axis.tif')], 'uint16')).toContain('taken for slices');
  });
});

describe.skipIf(!tifffile.path || !tiffcp.path)(
  `TIFF stacks by libtiff's tiffcp${tifffile.note}${tiffcp.note}`,
  () => {
    beforeAll(() => makeTiffs(folder));

    const compressions = {
      none: 'compression none;',
      lzw: 'compression LZW;',
      'lzw:2': 'compression LZW, predictor 2;',
      'lzw:3': 'compression LZW, predictor 3;',
      zip: 'compression deflate;',
      'zip:2': 'compression deflate, predictor 2;',
      'zip:3': 'compression deflate, predictor 3;',
      packbits: 'compression PackBits;',
    } as const;
    const layouts = {
      'strips of 53 x 7': ['-s', '-r', '7'],
      'tiles of 16 x 32': ['-t', '-w', '16', '-l', '32'],
    } as const;
    const containers = {
      'little-endian': ['-L'],
      'big-endian': ['-B'],
      'little-endian, BigTIFF': ['-L', '-8'],
      'big-endian, BigTIFF': ['-B', '-8'],
    } as const;
    const table = Object.keys(compressions).flatMap((compression) =>
      Object.keys(layouts).flatMap((layout) =>
        Object.keys(containers).map((container) => ({ compression, layout, container })),
      ),
    ) as {
      compression: keyof typeof compressions;
      layout: keyof typeof layouts;
      container: keyof typeof containers;
    }[];

    /** The voxels of a file as libtiff reads them, from a plain copy of one strip per page. */
    const byLibtiff = (file: string, type: (typeof TYPES)[number]): Buffer => {
      run(tiffcp, ['-c', 'none', '-L', '-s', '-r', '37', file, at('plain.tif')]);
      const bytes = readFileSync(at('plain.tif'));
      const page = plainBytes(folder, type).length / SHAPE.nz;
      const pages = [...Array(SHAPE.nz).keys()].map((n) => {
        const start = stripOffset(bytes, n);
        return bytes.subarray(start, start + page);
      });
      return Buffer.concat(pages);
    };

    it.each(table)('$compression, $layout, $container', async ({ compression, layout, container }) => {
      // Predictor 3 is for floating point alone; libtiff writes predictor 2 up to 64 bits.
      const types = compression.endsWith('3') ? TYPES.filter((type) => type.startsWith('float')) : TYPES;
      // libtiff swaps the bytes of big-endian numbers before predictor 3 sorts them by significance, and does not swap
      // back on reading: it does not get its own numbers back. What it reads from such a file is the truth here, since
      // the technical note puts the most significant bytes first whatever the byte order.
      const isMisordered = compression.endsWith('3') && container.startsWith('big-endian');
      for (const type of types) {
        const made = at('copy.tif');
        run(tiffcp, [
          '-c',
          compression,
          ...layouts[layout],
          ...containers[container],
          at(`${type}.tif`),
          made,
        ]);
        const notes = await check([made], type, isMisordered ? byLibtiff(made, type) : undefined);
        expect(notes).toContain(container.split(',')[0]);
        expect(notes).toContain(compressions[compression]);
        expect(notes).toContain(layout);
      }
    });

    it.each(['none', 'lzw:2', 'zip', 'packbits'] as const)(
      '%s with reversed bits (fill order 2)',
      async (c) => {
        for (const type of ['uint8', 'uint16', 'float32'] as const) {
          run(tiffcp, ['-c', c, '-f', 'lsb2msb', at(`${type}.tif`), at('reversed.tif')]);
          await check([at('reversed.tif')], type);
        }
      },
    );

    it('strips that do not follow each other in the file', async () => {
      // Pages appended to a file in turn: directories and data stand in mixed order.
      const pages = [0, 1, 2].map((n) => `${at('uint16.tif')},${n}`);
      run(tiffcp, ['-c', 'none', '-r', '5', pages[0], at('grown.tif')]);
      for (const page of pages.slice(1)) run(tiffcp, ['-a', '-c', 'lzw', '-r', '9', page, at('grown.tif')]);
      await check([at('grown.tif')], 'uint16');
    });

    it('a page cut out of an ImageJ stack, with the description of the whole', async () => {
      const files = [0, 1, 2].map((n) => at(`cut-${n}.tif`));
      files.forEach((file, n) => {
        run(tiffcp, [`${at('uint16-imagej.tif')},${n}`, file]);
      });
      await check(files, 'uint16');
    });
  },
);

describe.skipIf(!tifffile.path || !convert.path)(
  `TIFF stacks by ImageMagick${tifffile.note}${convert.note}`,
  () => {
    beforeAll(() => makeTiffs(folder));

    const cases = {
      'no compression': ['-compress', 'None'],
      LZW: ['-compress', 'LZW'],
      deflate: ['-compress', 'Zip'],
      PackBits: ['-compress', 'RLE'],
      'LZW, big-endian': ['-compress', 'LZW', '-define', 'tiff:endian=msb'],
      'deflate in tiles': ['-compress', 'Zip', '-define', 'tiff:tile-geometry=32x16'],
      'no compression, strips of 4 rows': ['-compress', 'None', '-define', 'tiff:rows-per-strip=4'],
      'reversed bits': ['-compress', 'None', '-define', 'tiff:fill-order=lsb'],
    };

    it.each(Object.entries(cases))('%s', async (_, options) => {
      for (const type of ['uint8', 'uint16'] as const) {
        const depth = type === 'uint8' ? '8' : '16';
        run(convert, [at(`${type}.tif`), '-depth', depth, ...options, at('converted.tif')]);
        await check([at('converted.tif')], type);
      }
    });
  },
);
