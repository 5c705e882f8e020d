/** Voxel sizes that files state: cases by tifffile, and the texts of the published formats. */
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { parseImageJDescription } from '../../../pipeline/formats/volume/imagej-description.ts';
import { nanometresPer } from '../../../pipeline/formats/volume/length-units.ts';
import { parseOmeDescription } from '../../../pipeline/formats/volume/ome-description.ts';
import { openTiffStack } from '../../../pipeline/formats/volume/tiff.ts';
import { voxelSize } from '../../../pipeline/formats/volume/voxel-size.ts';
import { isFault } from '../../../shared/errors.ts';
import { tifffile } from '../../fixtures/volume/outside-programs.ts';
import { makeTiffs, scratchFolder } from '../../fixtures/volume/stacks.ts';

type Size = readonly [x: number | null, y: number | null, z: number | null];

function expectSize(stated: { x: number | null; y: number | null; z: number | null }, [x, y, z]: Size): void {
  for (const [axis, wanted] of Object.entries({ x, y, z })) {
    const value = stated[axis as 'x' | 'y' | 'z'];
    if (wanted === null) expect(value, axis).toBeNull();
    // Resolutions are ratios of 32-bit numbers: their writer rounds, in the worst case here to one in 10^8.
    else expect((value ?? Number.NaN) / wanted, axis).toBeCloseTo(1, 7);
  }
}

describe.skipIf(!tifffile.path)(`voxel size in files by tifffile${tifffile.note}`, () => {
  const { folder, remove } = scratchFolder();
  beforeAll(() => makeTiffs(folder));
  afterAll(remove);

  const metadata = async (name: string) => {
    const source = await openTiffStack([join(folder, `${name}.tif`)]);
    await source.close();
    return source.metadata;
  };

  const cases: readonly (readonly [string, string | null, Size])[] = [
    // 20 nm: 500000 pixels per centimetre, 1270000 per inch, by arithmetic from TIFF 6.0's definitions.
    ['size-centimetre', 'TIFF resolution tags', [20, 20, null]],
    ['size-inch', 'TIFF resolution tags', [20, 40, null]],
    ['size-none', null, [null, null, null]],
    ['size-1-per-inch', null, [null, null, null]],
    ['size-72-per-inch', null, [null, null, null]],
    ['size-96-per-inch', null, [null, null, null]],
    ['size-72-per-inch-in-centimetres', null, [null, null, null]],
    // @source tifffile's documentation: voxel size 2.6755 x 2.6755 x 3.947368 µm.
    ['size-imagej', 'ImageJ description', [2675.5, 2675.5, 3947.368]],
    ['size-imagej-escape', 'ImageJ description', [20e3, 25e3, 30e3]],
    ['size-imagej-micron', 'ImageJ description', [20e3, 25e3, 30e3]],
    ['size-imagej-nm', 'ImageJ description', [20, 25, 30]],
    ['size-imagej-mm', 'ImageJ description', [20e6, 25e6, 30e6]],
    ['size-imagej-pixel', null, [null, null, null]],
    ['size-imagej-no-spacing', 'ImageJ description', [20, 20, null]],
    // The resolution tags of this file say 72 per inch: OME-XML goes first. Without units it means micrometres.
    ['size-ome', 'OME-XML', [20, 25, 30]],
    ['size-ome-units', 'OME-XML', [0.02, 0.0025, 30e3]],
  ];
  it.each(cases)('%s', async (name, source, size) => {
    const stated = await metadata(name);
    expect(stated.voxelSource).toBe(source);
    expectSize(stated.voxelNm, size);
  });

  it('a default resolution is noted, not believed', async () => {
    for (const name of [
      'size-1-per-inch',
      'size-72-per-inch',
      'size-96-per-inch',
      'size-72-per-inch-in-centimetres',
    ]) {
      expect((await metadata(name)).notes.join('\n')).toMatch(
        /resolution tags say .* not taken for a voxel size/,
      );
    }
    expect((await metadata('size-imagej-pixel')).notes.join('\n')).toContain('"pixel" is no known length');
  });

  it('channels between the slices are refused', async () => {
    const fault = await metadata('channels').catch((error: unknown) => error);
    expect(isFault(fault, 'unsupported')).toBe(true);
    expect(String(fault)).toContain('4 slices x 2 channels x 1 times');
  });
});

describe('units of length', () => {
  it.each([
    ['µm', 1000],
    ['\u03bcm', 1000],
    ['\\u00B5m', 1000],
    ['um', 1000],
    ['micron', 1000],
    ['Micron', 1000],
    ['nm', 1],
    ['mm', 1e6],
    ['cm', 1e7],
    ['inch', 25.4e6],
    ['Å', 0.1],
    ['Mm', null],
    ['pixel', null],
    ['reference frame', null],
    ['', null],
    ['constructor', null],
  ])('%s', (unit, nm) => {
    expect(nanometresPer(unit)).toBe(nm);
  });
});

describe('descriptions', () => {
  const size = (text: string, x: number | null, y: number | null, unit: number) => {
    const notes: string[] = [];
    const told = voxelSize(parseOmeDescription(text), parseImageJDescription(text), { x, y, unit }, notes);
    return { ...told, notes: notes.join('\n') };
  };

  it('ImageJ: CRLF lines, units per axis, a negative step, a spacing that is none', () => {
    const block = 'ImageJ=1.53t\r\nimages=10\r\nslices=10\r\nunit=\\u00B5m\r\nzunit=nm\r\nspacing=-25.0\r\n';
    const told = size(block, 50, 40, 1);
    expectSize(told.voxelNm, [20, 25, 25]);
    expect(told.notes).toContain('sign is ignored');
    expectSize(size('ImageJ=1.53t\nunit=nm\nspacing=NaN\n', 0.05, 0.05, 1).voxelNm, [20, 20, null]);
  });

  it('ImageJ without a unit leaves the word to the resolution tags', () => {
    const told = size('ImageJ=1.53t\nimages=10\nspacing=3\n', 500000, 500000, 3);
    expect(told.voxelSource).toBe('TIFF resolution tags');
    expectSize(told.voxelNm, [20, 20, null]);
    expect(told.notes).toContain('spacing 3 without a unit');
  });

  it('ImageJ keeps the 72 per inch of a picture that it opened', () => {
    expectSize(size('ImageJ=1.53t\nunit=inch\n', 72, 72, 2).voxelNm, [null, null, null]);
  });

  it('OME-XML: prefix, single quotes, entities, comments, a size that is none', () => {
    const pixels = `PhysicalSizeX='0.02' PhysicalSizeXUnit="&#181;m" PhysicalSizeY="20" PhysicalSizeYUnit='nm'`;
    const text =
      `<?xml version="1.0"?><!-- <Pixels PhysicalSizeX="9"/> --><ome:OME xmlns:ome="x"><ome:Image>` +
      `<ome:Pixels Name="a > b" SizeZ="7" ${pixels} PhysicalSizeZ="0"></ome:Pixels></ome:Image></ome:OME>`;
    const told = size(text, 500000, 500000, 3);
    expect(told.voxelSource).toBe('OME-XML');
    expectSize(told.voxelNm, [20, 20, null]);
    expect(told.notes).toContain('PhysicalSizeZ');
    expect(parseOmeDescription(text)?.sizeZ).toBe(7);
  });

  it('OME-XML without sizes leaves the word to the resolution tags; other texts say nothing', () => {
    expect(size('<OME><Image><Pixels SizeZ="2"/></Image></OME>', 1e6, 1e6, 3).voxelSource).toBe(
      'TIFF resolution tags',
    );
    expect(size('<OME><Image><Pixels SizeZ="2', null, null, 1).voxelSource).toBeNull();
    expect(size('{"shape": [8, 2048, 2048]}', null, null, 1).voxelSource).toBeNull();
  });
});
