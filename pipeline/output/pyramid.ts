/** Pyramids of pictures: loose tiles in the Deep Zoom layout, or packed into one TIFF. */
import { mkdir, rm, writeFile } from 'node:fs/promises';
import { dirname } from 'node:path';
import sharp, { type Sharp, type WebpOptions } from 'sharp';
import type { TileLayout } from '../../shared/artefacts/plates.ts';
import { pyramidStem, stillPath } from '../../shared/tile-path.ts';
import { diskFault } from './files.ts';
import { type GreyLevel, greyLevels } from './packed/levels.ts';
import { packPyramid } from './packed/write-packed.ts';

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
const LOSSLESS = { lossless: true, effort: 2 } as const;

/** How the pyramids of a campaign are kept. */
export type TileKind = 'loose' | 'packed';

/** Ending of a pyramid's descriptor: of packed ones, of the file itself. */
export const pyramidEnding = (kind: TileKind): string => (kind === 'packed' ? 'tif' : 'dzi');

/** Tiles of image data: lossy, with a lossless opacity where there is a place without data. */
export const plateTiles = (transparent: boolean, kind: TileKind = 'loose'): TileLayout => ({
  layout: kind === 'packed' ? 'packed-tiff' : 'deep-zoom',
  tile_px: TILE_PX,
  overlap_px: 0,
  format: kind === 'packed' ? 'jpg' : 'webp',
  nodata: transparent ? 'transparent' : 'none',
});

/** Tiles of drawings: lossless; transparent where something is withheld. */
export const renderTiles = (transparent: boolean, kind: TileKind = 'loose'): TileLayout => ({
  ...plateTiles(transparent, kind),
  format: kind === 'packed' ? 'deflate' : 'webp',
});

/**
 * Writes `path` and what belongs to it: ending in .dzi the tiles in a folder beside it; ending in .tif one packed file of
 * a grey picture, and a still of its coarsest level for pages and programs that show plain pictures.
 * @throws InputFault when the disk refuses.
 */
export async function writePyramid(
  path: string,
  picture: PictureData | GreyLevel,
  kind: 'lossy' | 'lossless',
): Promise<void> {
  if (isPacked(path)) return writePacked(path, 'grey' in picture ? picture : greyOf(picture), kind);
  if ('grey' in picture) throw new Error('Loose tiles are made of grey and opacity in turn.');
  const { bytes, channels, width, height } = picture;
  const source = sharp(bytes, { raw: { width, height, channels }, limitInputPixels: false });
  await writeTiles(source, path, kind === 'lossy' ? LOSSY : LOSSLESS);
}

/** Whether what lies there is one file. */
export const isPacked = (path: string): boolean => path.endsWith('.tif');

async function writePacked(path: string, picture: GreyLevel, kind: 'lossy' | 'lossless'): Promise<void> {
  const levels = greyLevels(picture, TILE_PX);
  const still = levels.at(-1)!;
  const { width, height } = still;
  try {
    await mkdir(dirname(path), { recursive: true });
    await writeFile(path, await packPyramid(levels, kind, TILE_PX));
    await sharp(withOpacity(still), { raw: { width, height, channels: still.held ? 2 : 1 } })
      .webp(kind === 'lossy' ? LOSSY : LOSSLESS)
      .toFile(stillPath(path));
  } catch (error) {
    throw diskFault(error, path);
  }
}

function greyOf({ bytes, channels, width, height }: PictureData): GreyLevel {
  if (channels === 4) throw new Error('Pictures in colour are kept in loose tiles.');
  if (channels === 1) return { width, height, grey: bytes, held: null };
  const grey = new Uint8Array(width * height);
  const held = new Uint8Array(width * height);
  for (let n = 0; n < grey.length; n++) {
    grey[n] = bytes[2 * n]!;
    held[n] = bytes[2 * n + 1]! >> 7;
  }
  return { width, height, grey, held: held.includes(0) ? held : null };
}

function withOpacity({ grey, held }: GreyLevel): Uint8Array {
  if (!held) return grey;
  const bytes = new Uint8Array(2 * grey.length);
  for (let n = 0; n < grey.length; n++) {
    bytes[2 * n] = grey[n]!;
    bytes[2 * n + 1] = 255 * held[n]!;
  }
  return bytes;
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
  const base = pyramidStem(path);
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
