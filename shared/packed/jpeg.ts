/** Making whole JPEG files of tiles whose tables stand once for all of them. */
import { PackedFault } from './directory.ts';

const SOI = 0xd8;
const EOI = 0xd9;
const SOS = 0xda;

/**
 * @param tables an abbreviated stream with tables only; null where tiles are whole already
 * @param tile an abbreviated stream with an image only
 * @returns a whole stream of one image, side x side, in one channel of eight bits
 * @throws PackedFault where it is none: a browser would set room aside for whatever size a stream states
 * @source ITU-T T.81, annexes B.2 (interchange format), B.4 and B.5 (abbreviated formats).
 */
export function spliceJpeg(tables: Uint8Array | null, tile: Uint8Array, side: number): Uint8Array {
  checkFrame(tile, side);
  if (!tables) return tile;
  const n = tables.length;
  if (n < 4 || tables[0] !== 0xff || tables[1] !== SOI || tables[n - 2] !== 0xff || tables[n - 1] !== EOI)
    throw new PackedFault('tables that are no JPEG stream');
  const whole = new Uint8Array(n - 2 + tile.length - 2);
  whole.set(tables.subarray(0, n - 2));
  whole.set(tile.subarray(2), n - 2);
  return whole;
}

function checkFrame(tile: Uint8Array, side: number): void {
  const bad = (): never => {
    throw new PackedFault('a tile that is no JPEG stream of its size');
  };
  if (tile[0] !== 0xff || tile[1] !== SOI) bad();
  for (let at = 2; at + 4 <= tile.length; ) {
    if (tile[at] !== 0xff) bad();
    const marker = tile[at + 1]!;
    const length = (tile[at + 2]! << 8) | tile[at + 3]!;
    // Frames: C0 to CF without the tables C4 and CC and the reserved C8.
    if (marker >= 0xc0 && marker <= 0xcf && marker !== 0xc4 && marker !== 0xc8 && marker !== 0xcc) {
      const [bits, h, w] = [
        tile[at + 4],
        (tile[at + 5]! << 8) | tile[at + 6]!,
        (tile[at + 7]! << 8) | tile[at + 8]!,
      ];
      if (bits !== 8 || h !== side || w !== side || tile[at + 9] !== 1) bad();
      return;
    }
    if (marker === SOS || length < 2) bad();
    at += 2 + length;
  }
  bad();
}
