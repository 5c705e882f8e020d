/** Deep Zoom pyramids of one- and two-channel pictures, written by sharp. */
import { mkdir, rm } from 'node:fs/promises';
import { dirname } from 'node:path';
import sharp, { type Sharp, type WebpOptions } from 'sharp';
import type { TileLayout } from '../../shared/artefacts/plates.ts';
import { diskFault } from './files.ts';

export const TILE_PX = 256;

export interface PictureData {
  /** One grey byte per pixel, grey and opacity in turn, or red, green, blue and opacity. */
  readonly bytes: Uint8Array;
  readonly channels: 1 | 2 | 4;
  readonly width: number;
  readonly height: number;
}

/**
 * Chosen by the measurement recorded in tests/bench/results.md: at the bytes of JPEG 88, WebP 88 errs by a third less per
 * pixel and carries a lossless opacity, which keeps "no data" apart from black. It takes three times as long; efforts
 * above 1 double that again and gain nothing.
 */
const LOSSY = { quality: 88, alphaQuality: 100, effort: 1, smartSubsample: false } as const;

/** Tiles of image data: lossy, with a lossless opacity where there is a place without data. */
export const plateTiles = (transparent: boolean): TileLayout => ({
  layout: 'deep-zoom',
  tile_px: TILE_PX,
  overlap_px: 0,
  format: 'webp',
  nodata: transparent ? 'transparent' : 'none',
});

/** Tiles of drawings: lossless; transparent where something is withheld. */
export const renderTiles = (transparent: boolean): TileLayout => plateTiles(transparent);

/**
 * Writes `path` (ending in .dzi) and the tiles beside it.
 * @throws InputFault when the disk refuses.
 */
export async function writePyramid(
  path: string,
  picture: PictureData,
  kind: 'lossy' | 'lossless',
): Promise<void> {
  const { bytes, channels, width, height } = picture;
  const source = sharp(bytes, { raw: { width, height, channels }, limitInputPixels: false });
  await writeTiles(source, path, kind === 'lossy' ? LOSSY : { lossless: true, effort: 2 });
}

/**
 * Writes the pyramid of a picture file, turned upright by its orientation tag, in sRGB.
 * @throws InputFault when the disk refuses; the decoder's error when the file is damaged
 */
export async function writeFilePyramid(file: string, path: string): Promise<void> {
  const source = sharp(file, { failOn: 'error', sequentialRead: true }).autoOrient().toColourspace('srgb');
  await writeTiles(source, path, { ...LOSSY, quality: 92 });
}

async function writeTiles(source: Sharp, path: string, options: WebpOptions): Promise<void> {
  const base = path.replace(/\.dzi$/, '');
  try {
    await mkdir(dirname(path), { recursive: true });
    await source
      .webp(options)
      .tile({ size: TILE_PX, overlap: 0, layout: 'dz', depth: 'onepixel' })
      .toFile(base);
    // The encoder's own notes name its build and the hour: they would differ from build to build.
    await rm(`${base}_files/vips-properties.xml`, { force: true });
  } catch (error) {
    throw diskFault(error, path);
  }
}
