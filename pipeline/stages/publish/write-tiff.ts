/**
 * The plates of a scan as TIFF, one file each, for programs that open pictures: greys as published, 0 where there is no data
 * (grey windows and the place of the grid are in plates.json), the pixel size in the resolution tags.
 */
import { mkdir, readFile } from 'node:fs/promises';
import { join } from 'node:path';
import sharp from 'sharp';
import { type Plates, platesSchema } from '../../../shared/artefacts/plates.ts';
import { readJson } from '../../../shared/artefacts/read.ts';
import { platePath } from '../../../shared/plate-path.ts';
import { maximumLevel, tileCounts } from '../../../shared/pyramid.ts';
import { writeAtomically } from '../../output/files.ts';
import { publishedGreys } from './published-greys.ts';

export const TIFF_FOLDER = 'plates-tiff';
const UM_PER_MM = 1000;

/** Name of a plate's file: its number, and its height above the wafer. */
export const tiffName = (plate: number, zUm: number): string =>
  `plate-${String(plate).padStart(4, '0')}-z${zUm.toFixed(3)}um.tif`;

/**
 * @param folder of the scan, with plates.json and its pyramids
 * @throws InputFault where the disk refuses
 */
export async function writeTiff(folder: string): Promise<void> {
  const plates = readJson(await readFile(join(folder, 'plates.json'), 'utf8'), 'plates.json', platesSchema);
  const { width_px: width, height_px: height, pixel_um: pixelUm } = plates.grid;
  await mkdir(join(folder, TIFF_FOLDER), { recursive: true });
  // One at a time: memory is that of a plate, however many there are.
  for (const [plate, zUm] of plates.z_um.entries()) {
    const file = await sharp(await wholePlate(folder, plates, plate), { raw: { width, height, channels: 1 } })
      .toColourspace('b-w')
      .tiff({
        ...{ compression: 'deflate', predictor: 'horizontal' },
        ...{ tile: true, tileWidth: 256, tileHeight: 256 },
        ...{ xres: UM_PER_MM / pixelUm, yres: UM_PER_MM / pixelUm, resolutionUnit: 'cm' },
      })
      .toBuffer();
    await writeAtomically(join(folder, TIFF_FOLDER, tiffName(plate, zUm)), file);
  }
}

/** Greys of a plate at full resolution, rows from the largest Y down. */
async function wholePlate(folder: string, plates: Plates, plate: number): Promise<Uint8Array> {
  const { width_px: width, height_px: height } = plates.grid;
  const size = { width, height, tilePx: plates.tiles.tile_px };
  const level = maximumLevel(size);
  const { columns, rows } = tileCounts(size, level);
  const out = new Uint8Array(width * height);
  for (let n = 0; n < columns * rows; n++) {
    const [column, row] = [n % columns, Math.floor(n / columns)];
    const tile = await publishedGreys(folder, platePath(plates.path, plate), plates.tiles, [
      level,
      column,
      row,
    ]);
    const [left, top] = [column * size.tilePx, row * size.tilePx];
    const wide = Math.min(size.tilePx, width - left);
    for (let y = 0; y < Math.min(size.tilePx, height - top); y++)
      out.set(tile.subarray(y * size.tilePx, y * size.tilePx + wide), (top + y) * width + left);
  }
  return out;
}
