/** Portraits: one image per layer, its plates combined, each with the grey window that suits it. */
import { join } from 'node:path';
import type { Pictures } from '../../../shared/artefacts/pictures.ts';
import type { PlateGrid } from '../../../shared/frames.ts';
import { percentile } from '../../kernels/statistics.ts';
import { pyramidEnding, type TileKind, writePyramid } from '../../output/pyramid.ts';
import { greyPicture } from './grey.ts';
import type { Portrait } from './join-portraits.ts';

type PortraitEntry = NonNullable<Pictures['layers'][number]['portrait']>;

const WINDOW_SHARE = 0.001;
const SAMPLE = 200_000;

/** @returns what pictures.json says of each portrait, by layer name */
export async function writePortraits(
  portraits: readonly Portrait[],
  grid: PlateGrid,
  unit: string,
  folder: string,
  tiles: TileKind,
): Promise<Map<string, PortraitEntry>> {
  const entries = new Map<string, PortraitEntry>();
  for (const portrait of portraits) {
    const { black, white } = ownWindow(portrait.values);
    const path = `portraits/${portrait.name}.${pyramidEnding(tiles)}`;
    const picture = greyPicture(portrait.values, grid.width_px, grid.height_px, black, white, true);
    await writePyramid(join(folder, path), picture, 'lossy');
    entries.set(portrait.name, {
      path,
      plates: [portrait.first, portrait.last],
      grey: { unit, black, white },
    });
  }
  return entries;
}

function ownWindow(values: Float32Array): { black: number; white: number } {
  const stride = Math.max(1, Math.floor(values.length / SAMPLE));
  const kept: number[] = [];
  for (let n = 0; n < values.length; n += stride) if (Number.isFinite(values[n])) kept.push(values[n]!);
  if (kept.length === 0) return { black: 0, white: 1 };
  const sorted = Float64Array.from(kept).sort();
  const black = percentile(sorted, WINDOW_SHARE);
  const white = percentile(sorted, 1 - WINDOW_SHARE);
  return { black, white: white > black ? white : black + 1 };
}
