/** Masks of tiles: one bit per pixel, rows one after the other, highest bit first, 1 where there is data. */

/** Bytes of the mask of a square tile. */
export const maskBytes = (side: number): number => (side * side) / 8;

/**
 * Sets the opacity of a picture in four channels by the mask of its tile.
 * @param rgba width x height of the upper left of the tile
 */
export function applyMask(
  rgba: Uint8Array | Uint8ClampedArray,
  width: number,
  mask: Uint8Array,
  side: number,
): void {
  for (let p = 0; p < rgba.length / 4; p++) {
    const column = p % width;
    const row = (p - column) / width;
    const bit = row * side + column;
    rgba[4 * p + 3] = (mask[bit >> 3]! >> (7 - (bit & 7))) & 1 ? 255 : 0;
  }
}
