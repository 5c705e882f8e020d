/** Flat pictures as scans: orientation tags written by ImageMagick (Debian), colours kept, damage told. */
import { execFileSync } from 'node:child_process';
import { existsSync, mkdtempSync, readFileSync, rmSync, truncateSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { writePicture } from '../../../pipeline/stages/plate/write-picture.ts';
import { layersSchema } from '../../../shared/artefacts/layers.ts';
import { placementSchema } from '../../../shared/artefacts/placement.ts';
import { platesSchema } from '../../../shared/artefacts/plates.ts';

const CONVERT = '/usr/bin/convert-im6.q16';
let work: string;
beforeAll(() => {
  work = mkdtempSync(join(tmpdir(), 'stratafolio-picture-'));
});
afterAll(() => rmSync(work, { recursive: true, force: true }));

/** 40 x 20 px: red, green / blue, yellow quarters. */
function quarters(name: string, ...options: string[]): string {
  const file = join(work, name);
  const quarter = (colour: string) => ['(', '-size', '20x10', `xc:${colour}`, ')'];
  execFileSync(CONVERT, [
    ...['(', ...quarter('red'), ...quarter('lime'), '+append', ')'],
    ...['(', ...quarter('blue'), ...quarter('yellow'), '+append', ')'],
    ...['-append', '-quality', '95', ...options, file],
  ]);
  return file;
}

const COLOURS = { red: [255, 0, 0], green: [0, 255, 0], blue: [0, 0, 255], yellow: [255, 255, 0] } as const;

async function corners(folder: string, width: number, height: number): Promise<string[]> {
  const level = Math.ceil(Math.log2(Math.max(width, height)));
  const { data, info } = await sharp(join(folder, 'plates', `0000_files`, String(level), '0_0.webp'))
    .raw()
    .toBuffer({ resolveWithObject: true });
  expect([info.width, info.height]).toEqual([width, height]);
  const name = (x: number, y: number) => {
    const at = (y * width + x) * info.channels;
    const distance = (colour: readonly number[]) =>
      colour.reduce((sum, value, n) => sum + Math.abs(value - data[at + n]!), 0);
    return Object.entries(COLOURS).sort((a, b) => distance(a[1]) - distance(b[1]))[0]![0];
  };
  return [name(4, 4), name(width - 5, 4), name(4, height - 5), name(width - 5, height - 5)];
}

describe.skipIf(!existsSync(CONVERT))(
  'flat pictures (skipped without the Debian package imagemagick)',
  () => {
    // TIFF 6.0, tag 274 (in EXIF, 0x0112): the name says where the stored first row and first column lie in the scene.
    it.each([
      ['TopLeft', 40, 20, ['red', 'green', 'blue', 'yellow']],
      ['TopRight', 40, 20, ['green', 'red', 'yellow', 'blue']],
      ['BottomRight', 40, 20, ['yellow', 'blue', 'green', 'red']],
      ['RightTop', 20, 40, ['blue', 'red', 'yellow', 'green']],
      ['LeftBottom', 20, 40, ['green', 'yellow', 'red', 'blue']],
    ])('orientation %s stands upright', async (orientation, width, height, expected) => {
      const file = quarters(`${orientation}.tif`, '-orient', orientation);
      const folder = join(work, orientation);
      const { plates, layers, placement } = await writePicture(
        { file, name: 'top.tif', pixelUm: 0.25 },
        folder,
      );
      expect(platesSchema.parse(plates).grid).toEqual({
        origin_um: [0, (height - 1) * 0.25],
        pixel_um: 0.25,
        width_px: width,
        height_px: height,
      });
      expect(layersSchema.parse(layers).basis).toBe('none');
      expect(placementSchema.parse(placement).verdict).toBe('unplaced');
      expect(await corners(folder, width, height)).toEqual(expected);
    });

    it('a JPEG from a camera held upright (EXIF written by libvips) stands upright', async () => {
      const file = join(work, 'camera.jpg');
      await sharp(quarters('plain.png')).withMetadata({ orientation: 6 }).jpeg({ quality: 95 }).toFile(file);
      const folder = join(work, 'camera');
      await writePicture({ file, name: 'camera.jpg', pixelUm: 1 }, folder);
      expect(await corners(folder, 20, 40)).toEqual(['blue', 'red', 'yellow', 'green']);
    });

    it.each(['png', 'tif', 'webp'])('%s keeps its colours', async (ending) => {
      const folder = join(work, `as-${ending}`);
      await writePicture({ file: quarters(`colours.${ending}`), name: 'x', pixelUm: 1 }, folder);
      expect(await corners(folder, 40, 20)).toEqual(['red', 'green', 'blue', 'yellow']);
    });

    it.each([
      ['cut short', 'png', (file: string) => truncateSync(file, 120), 'malformed'],
      ['no picture', 'png', (file: string) => writeFileSync(file, 'hello'), 'malformed'],
      ['absent', 'png', (file: string) => rmSync(file), 'missing-file'],
      ['a GIF', 'gif', () => {}, 'unsupported'],
    ])('%s is told in one clear fault', async (name, ending, damage, tag) => {
      const file = quarters(`${name.replaceAll(' ', '-')}.${ending}`);
      damage(file);
      await expect(
        writePicture({ file, name: 'top.png', pixelUm: 1 }, join(work, 'bad')),
      ).rejects.toMatchObject({ tag, fields: { file: 'top.png' } });
      if (tag === 'unsupported') expect(readFileSync(file).length).toBeGreaterThan(0);
    });
  },
);
