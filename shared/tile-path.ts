/** Where pictures of a pyramid lie below their scan's folder, without asking for a descriptor. */
import { maximumLevel, type PyramidSize, tileName } from './pyramid.ts';

/** `plates/0007.dzi` or `plates/0007.tif` -> `plates/0007`. */
export const pyramidStem = (descriptor: string): string => descriptor.replace(/\.[^./]+$/, '');

/** A loose tile. */
export const tilePath = (
  descriptor: string,
  level: number,
  column: number,
  row: number,
  format: string,
): string => tileName(pyramidStem(descriptor), level, column, row, format);

/** The coarsest level of a packed pyramid as a plain picture. */
export const stillPath = (descriptor: string): string => `${pyramidStem(descriptor)}.webp`;

/** Finest level that is a single tile: small enough to come first, and it covers the whole picture. */
export function coarseLevel(size: PyramidSize): number {
  const top = maximumLevel(size);
  const halvings = Math.max(0, Math.ceil(Math.log2(Math.max(size.width, size.height) / size.tilePx)));
  return Math.max(0, top - halvings);
}

/** What is needed of a pyramid's tiles to find its coarse picture. */
export interface TileForm {
  readonly layout: 'deep-zoom' | 'packed-tiff';
  readonly format: string;
}

/** The whole picture in the coarse level, as a plain picture: a loose tile, or the still beside a packed pyramid. */
export const coarsePath = (descriptor: string, size: PyramidSize, tiles: TileForm): string =>
  tiles.layout === 'packed-tiff'
    ? stillPath(descriptor)
    : tilePath(descriptor, coarseLevel(size), 0, 0, tiles.format);
