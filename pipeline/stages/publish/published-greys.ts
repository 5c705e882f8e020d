/** Greys of the published pyramids, for forms that other programs read. */
import type { TileLayout } from '../../../shared/artefacts/plates.ts';
import { tilePixels } from '../../output/packed/tile-pixels.ts';

export type TilePlace = readonly [level: number, column: number, row: number];

/** Greys of a tile, 0 where there is no data, padded with 0 to a full square. */
export async function publishedGreys(
  folder: string,
  descriptor: string,
  tiles: TileLayout,
  at: TilePlace,
): Promise<Uint8Array> {
  const { rgba, width, height } = await tilePixels(folder, descriptor, tiles, ...at);
  const values = new Uint8Array(tiles.tile_px ** 2);
  for (let row = 0; row < height; row++)
    for (let column = 0; column < width; column++) {
      const from = 4 * (row * width + column);
      // 0 says that there is no data, so the darkest grey with data is 1.
      if (rgba[from + 3]! > 0) values[row * tiles.tile_px + column] = Math.max(1, rgba[from]!);
    }
  return values;
}
