/** Tiles of pyramids on the disk, whichever way they are kept. */
import { join } from 'node:path';
import sharp from 'sharp';
import type { TileLayout } from '../../../shared/artefacts/plates.ts';
import { tilePath } from '../../../shared/tile-path.ts';
import { PackedReader, type TilePixels } from './read-packed.ts';

/**
 * @param descriptor below the folder
 * @throws the decoder's or the file system's error where the tile is damaged or not there
 */
export async function tilePixels(
  folder: string,
  descriptor: string,
  tiles: TileLayout,
  level: number,
  column: number,
  row: number,
): Promise<TilePixels> {
  if (tiles.layout === 'packed-tiff') {
    const file = await PackedReader.open(join(folder, descriptor));
    try {
      return await file.tile(level, column, row);
    } finally {
      await file.close();
    }
  }
  const { data, info } = await sharp(join(folder, tilePath(descriptor, level, column, row, tiles.format)))
    .toColourspace('srgb')
    .ensureAlpha()
    .raw()
    .toBuffer({ resolveWithObject: true });
  return { rgba: data, width: info.width, height: info.height };
}
