/** Tiles of pyramids, loose or packed: every part of a page that needs pixels asks here. */
import type { TileLayout } from '../../shared/artefacts/plates.ts';
import type { PlateGrid } from '../../shared/frames.ts';
import { coarsePath, tilePath } from '../../shared/tile-path.ts';

export interface Pyramid {
  readonly grid: PlateGrid;
  readonly tiles: TileLayout;
  /** Address of the scan folder, with a slash at its end. */
  readonly root: string;
  /** Descriptor below it; that of loose tiles is never fetched itself. */
  readonly path: string;
}

export interface TilePlace {
  /** Number of the level as in Deep Zoom: the highest is full resolution. */
  readonly level: number;
  readonly column: number;
  readonly row: number;
}

/** Pixels exactly as they are stored: no colour management, no multiplication by alpha. */
export const AS_STORED: ImageBitmapOptions = { colorSpaceConversion: 'none', premultiplyAlpha: 'none' };

/** A name for a tile that no other has; of a loose one, its address. */
export const tileKey = ({ root, path, tiles }: Pyramid, { level, column, row }: TilePlace): string =>
  root + tilePath(path, level, column, row, tiles.format);

/** @throws Error where it cannot be had, or is not what it should be */
export async function readTile(
  pyramid: Pyramid,
  place: TilePlace,
  signal?: AbortSignal,
): Promise<ImageBitmap> {
  if (pyramid.tiles.layout === 'packed-tiff') {
    const { readPackedTile } = await import('./packed/packed-tiles.ts');
    return readPackedTile(pyramid, place, signal);
  }
  return fetchPicture(tileKey(pyramid, place), signal ? { signal } : {});
}

/** The whole picture in its coarsest level. */
export async function readCoarse(
  { grid, tiles, root, path }: Pyramid,
  request: RequestInit = {},
): Promise<ImageBitmap> {
  const size = { width: grid.width_px, height: grid.height_px, tilePx: tiles.tile_px };
  return fetchPicture(root + coarsePath(path, size, tiles), request);
}

async function fetchPicture(address: string, request: RequestInit): Promise<ImageBitmap> {
  const answer = await fetch(address, request);
  if (!answer.ok) throw new Error(`${address}: ${answer.status}`);
  return decodeTile(await answer.blob());
}

export const decodeTile = (blob: Blob): Promise<ImageBitmap> => createImageBitmap(blob, AS_STORED);
