/** Small arithmetic of showing a brick. Pure. */

interface GreyRange {
  readonly black: number;
  readonly white: number;
}

/** Stands among the greys of a brick for a place without data. */
export const NO_DATA = 256;

/**
 * Per grey of the brick an opaque pixel in the grey of a plate's own window, as the bytes of a canvas lie in memory; the
 * one for NO_DATA is transparent.
 */
export function brickPixels(brick: GreyRange, plate: GreyRange): Uint32Array {
  const bytes = new Uint8ClampedArray(4 * (NO_DATA + 1));
  for (const [n, grey] of brickLookUp(brick, plate).entries()) bytes.set([grey, grey, grey, 255], 4 * n);
  return new Uint32Array(bytes.buffer);
}

/** For each grey of the brick the grey of a plate with a window of its own. */
export function brickLookUp(brick: GreyRange, plate: GreyRange): Uint8ClampedArray {
  const table = new Uint8ClampedArray(256);
  const span = plate.white - plate.black || 1;
  for (let grey = 0; grey < 256; grey++) {
    const value = brick.black + (grey / 255) * (brick.white - brick.black);
    table[grey] = Math.round((255 * (value - plate.black)) / span);
  }
  return table;
}

/**
 * Sheets in the order in which they are wanted: the present one, then by distance, those ahead first.
 * @param direction 1 towards later sheets, -1 towards earlier ones, 0 both alike
 */
export function sheetOrder(count: number, present: number, direction: -1 | 0 | 1): number[] {
  const cost = (n: number): number => {
    const away = n - present;
    // A sheet behind the reader is worth as much as one twice as far ahead.
    return Math.abs(away) * (direction !== 0 && Math.sign(away) === -direction ? 2 : 1);
  };
  return Array.from({ length: count }, (_, n) => n).sort((a, b) => cost(a) - cost(b) || a - b);
}
