/** TIFF packed as JPEG and Zstandard by libtiff, against what libtiff and numpy make of it; OME-TIFF over many files. */
import { copyFileSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { openTiffStack } from '../../../pipeline/formats/volume/tiff.ts';
import { expectVoxels, faultOf } from '../../fixtures/volume/boxes.ts';
import { run, tiffcp, tifffile, vips } from '../../fixtures/volume/outside-programs.ts';
import { bytesOf, makeTiffs, plainBytes, readWhole, scratchFolder } from '../../fixtures/volume/stacks.ts';

const { folder, remove } = scratchFolder();
afterAll(remove);
const at = (name: string): string => join(folder, name);

describe.skipIf(!tifffile.path || !tiffcp.path)(`packed by libtiff${tifffile.note}${tiffcp.note}`, () => {
  beforeAll(() => makeTiffs(folder));

  const layouts = [
    ['-r', '37'],
    ['-r', '8'],
    ['-r', '16', '-8'],
    ['-t', '-w', '16', '-l', '16'],
    ['-t', '-w', '64', '-l', '32', '-B'],
  ];
  it.each(layouts)('JPEG %s %s %s %s %s %s', async (...layout) => {
    run(tiffcp, ['-c', 'jpeg:75', ...layout.filter(Boolean), at('uint8.tif'), at('jpeg.tif')]);
    // libtiff's own decoder says what the values are.
    run(tiffcp, ['-c', 'none', '-r', '37', at('jpeg.tif'), at('decoded.tif')]);
    const decoded = bytesOf(await readWhole(await openTiffStack([at('decoded.tif')])));
    const source = await openTiffStack([at('jpeg.tif')]);
    expect(source.metadata.notes.join()).toContain('compression JPEG');
    await expectVoxels(source, decoded, 6);
    await source.close();
  });

  it('JPEG data that are damaged or of another size', async () => {
    run(tiffcp, ['-c', 'jpeg:75', '-r', '37', at('uint8.tif'), at('jpeg.tif')]);
    const whole = readFileSync(at('jpeg.tif'));
    const start = whole.indexOf(Buffer.from([0xff, 0xd8]), 8);
    const frame = whole.indexOf(Buffer.from([0xff, 0xc0]), start);
    const wide = Buffer.from(whole);
    wide.writeUInt16BE(54, frame + 7);
    writeFileSync(at('wide.tif'), wide);
    const fault = await faultOf(openTiffStack([at('wide.tif')]).then(readWhole));
    expect(fault.message).toMatch(/page 1, byte \d+: .*(a JPEG picture of 54 x 37|do not decode)/);
    const noise = Buffer.from(whole).fill(0x55, frame + 4, frame + 400);
    writeFileSync(at('noise.tif'), noise);
    expect((await faultOf(openTiffStack([at('noise.tif')]).then(readWhole))).message).toMatch(
      /do not decode|a JPEG picture of/,
    );
  });

  it.each([
    ['uint8', '-r', '9', 'zstd'],
    ['uint16', '-r', '9', 'zstd:2'],
    ['float32', '-r', '9', 'zstd:3'],
    ['int32', '-t', '-t', 'zstd:2'],
  ] as const)('Zstandard %s %s %s %s', async (type, flag, value, how) => {
    const layout = flag === '-t' ? ['-t', '-w', '32', '-l', '16'] : [flag, value];
    run(tiffcp, ['-c', how, ...layout, at(`${type}.tif`), at('zstd.tif')]);
    const source = await openTiffStack([at('zstd.tif')]);
    expect(source.metadata.notes.join()).toContain('compression Zstandard');
    await expectVoxels(source, plainBytes(folder, type), 6);
    await source.close();
  });
});

describe.skipIf(!tifffile.path)(`OME-TIFF over several files${tifffile.note}`, () => {
  const SIDE = 8;
  /** One file per entry; a page per number, filled with it. @param xml TiffData and what else stands in Pixels */
  const write = (files: readonly (readonly number[])[], xml: string): string[] => {
    const names = files.map((_, n) => at(`set-${n}.ome.tif`));
    const description =
      `<?xml version="1.0"?><OME xmlns="http://www.openmicroscopy.org/Schemas/OME/2016-06"><Image ID="Image:0">` +
      `<Pixels ID="Pixels:0" DimensionOrder="XYZCT" Type="uint8" SizeX="${SIDE}" SizeY="${SIDE}" ` +
      `SizeZ="${files.flat().length}" SizeC="1" SizeT="1">${xml}</Pixels></Image></OME>`;
    const script = [
      'import json, numpy, sys, tifffile',
      'for name, pages in json.loads(sys.argv[1]):',
      '    with tifffile.TiffWriter(name) as tif:',
      '        for n, value in enumerate(pages):',
      `            page = numpy.full((${SIDE}, ${SIDE}), value, dtype="uint8")`,
      '            tif.write(page, photometric="minisblack", metadata=None, contiguous=False, description=sys.argv[2] if n == 0 else None)',
    ].join('\n');
    run(tifffile, ['-c', script, JSON.stringify(names.map((name, n) => [name, files[n]])), description]);
    return names;
  };
  const plane = (z: number, page: number, file: number): string =>
    `<TiffData FirstZ="${z}" FirstC="0" FirstT="0" IFD="${page}" PlaneCount="1">` +
    `<UUID FileName="set-${file}.ome.tif">urn:uuid:00000000-0000-0000-0000-00000000000${file}</UUID></TiffData>`;
  const order = async (
    files: readonly string[],
  ): Promise<{ values: number[]; notes: string; files: readonly string[] }> => {
    const source = await openTiffStack(files);
    const voxels = await source.read({ k: [0, source.shape.nz], j: [0, 1], i: [0, 1] });
    await source.close();
    return { values: [...voxels], notes: source.metadata.notes.join('; '), files: source.files };
  };

  it('in the order of the files, nothing is said', async () => {
    const { values, notes } = await order(
      write(
        [
          [10, 11],
          [12, 13],
        ],
        plane(0, 0, 0) + plane(1, 1, 0) + plane(2, 0, 1) + plane(3, 1, 1),
      ),
    );
    expect(values).toEqual([10, 11, 12, 13]);
    expect(notes).not.toContain('OME-XML states');
  });

  it('in another order, that of the description is followed', async () => {
    const files = write(
      [
        [10, 11],
        [12, 13],
      ],
      plane(3, 0, 0) + plane(1, 1, 0) + plane(0, 0, 1) + plane(2, 1, 1),
    );
    const read = await order(files);
    expect(read.values).toEqual([12, 11, 13, 10]);
    expect(read.notes).toContain('in the order that the OME-XML states');
    expect(read.files).toEqual([files[1], files[0]]);
  });

  it('pages that follow each other in one element; pages of one file turned round', async () => {
    const run2 =
      '<TiffData FirstZ="2" IFD="0" PlaneCount="2"><UUID FileName="set-0.ome.tif">a</UUID></TiffData>';
    const run0 = '<TiffData FirstZ="0"><UUID FileName="set-1.ome.tif">b</UUID></TiffData>';
    expect(
      (
        await order(
          write(
            [
              [10, 11],
              [12, 13],
            ],
            run2 + run0,
          ),
        )
      ).values,
    ).toEqual([12, 13, 10, 11]);
    const turned = [0, 1, 2].map((z) => `<TiffData FirstZ="${z}" IFD="${2 - z}"/>`).join('');
    expect((await order(write([[5, 6, 7]], turned))).values).toEqual([7, 6, 5]);
    expect((await order(write([[5, 6, 7]], '<TiffData/>'))).values).toEqual([5, 6, 7]);
  });

  it('files of other names are taken in their own order; so is a companion that is not read', async () => {
    const files = write([[10], [11]], plane(1, 0, 0) + plane(0, 0, 1));
    const renamed = [at('a-0.tif'), at('a-1.tif')];
    files.forEach((file, n) => {
      copyFileSync(file, renamed[n]);
    });
    const read = await order(renamed);
    expect(read.values).toEqual([10, 11]);
    expect(read.notes).toContain('files of other names');
    const script = `import numpy, sys, tifffile; tifffile.imwrite(sys.argv[1], numpy.zeros((8, 8), "uint8"), metadata=None, description='<OME UUID="urn:uuid:1"><BinaryOnly MetadataFile="set.companion.ome" UUID="urn:uuid:2"/></OME>')`;
    run(tifffile, ['-c', script, at('pointing.tif')]);
    expect((await order([at('pointing.tif')])).notes).toContain(
      'stands in set.companion.ome, which is not read',
    );
  });

  it('a page that is not described, and a plane described twice', async () => {
    const some = write([[10], [11]], plane(0, 0, 0));
    const fault = await faultOf(openTiffStack(some));
    expect(fault.tag).toBe('inconsistent');
    expect(fault.message).toContain('page 1 of set-1.ome.tif, of which it does not speak');
    const twice = write([[10], [11]], plane(0, 0, 0) + plane(0, 0, 1));
    expect((await faultOf(openTiffStack(twice))).message).toContain('plane 0 twice');
  });

  it('part of a set keeps the order, and says so', async () => {
    const files = write([[10], [11], [12]], plane(2, 0, 0) + plane(1, 0, 1) + plane(0, 0, 2));
    const read = await order(files.slice(0, 2));
    expect(read.values).toEqual([11, 10]);
    expect(read.notes).toContain('speaks of 3 planes; 2 are here');
  });
});

describe.skipIf(!vips.path)(
  `slices by libvips, against the plain bytes that it writes itself${vips.note}`,
  () => {
    const [width, height] = [150, 130];
    beforeAll(() => {
      run(vips, ['gaussnoise', at('noise.v'), `${width}`, `${height}`, '--sigma', '30', '--mean', '120']);
      for (const [type, format] of Object.entries({ uint8: 'uchar', uint16: 'ushort', float32: 'float' })) {
        run(vips, ['cast', at('noise.v'), at(`${type}.v`), format]);
        run(vips, ['rawsave', at(`${type}.v`), at(`${type}.raw`)]);
      }
    });

    it.each([
      ['uint8', 'none', '--tile --pyramid'],
      ['uint16', 'lzw', '--tile --pyramid --subifd --bigtiff'],
      ['uint16', 'zstd', '--tile --tile-width 64 --tile-height 64'],
      ['float32', 'deflate', '--predictor float'],
      ['uint8', 'packbits', ''],
      ['float32', 'zstd', '--tile --pyramid --predictor horizontal'],
    ] as const)('%s, %s, %s', async (type, compression, how) => {
      const file = at('slice.tif');
      run(vips, [
        ...['tiffsave', at(`${type}.v`), file, '--compression', compression],
        ...how.split(' ').filter(Boolean),
      ]);
      const source = await openTiffStack([file]);
      // The smaller copies of a pyramid are no slices.
      expect(source.shape).toEqual({ nz: 1, ny: height, nx: width });
      expect(source.type).toBe(type);
      expect(bytesOf(await readWhole(source)).equals(readFileSync(at(`${type}.raw`)))).toBe(true);
      await source.close();
    });
  },
);
