/** Addresses of tiles from a descriptor path, without asking for the descriptor. */
import { maximumLevel, type PyramidSize, tileName } from '../../shared/pyramid.ts';

/** `plates/0007.dzi` -> `plates/0007`. */
export const pyramidStem = (descriptor: string): string => descriptor.replace(/\.[^./]+$/, '');

export const tilePath = (
  descriptor: string,
  level: number,
  column: number,
  row: number,
  format: string,
): string => tileName(pyramidStem(descriptor), level, column, row, format);

/** Finest level that is a single tile: small enough to come first, and it covers the whole picture. */
export function coarseLevel(size: PyramidSize): number {
  const top = maximumLevel(size);
  const halvings = Math.max(0, Math.ceil(Math.log2(Math.max(size.width, size.height) / size.tilePx)));
  return Math.max(0, top - halvings);
}

/** The single tile of the coarse level. */
export const coarseTilePath = (descriptor: string, size: PyramidSize, format: string): string =>
  tilePath(descriptor, coarseLevel(size), 0, 0, format);
