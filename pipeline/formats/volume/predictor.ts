/**
 * Undoes the differencing that writers apply before compression.
 * @source TIFF Revision 6.0 (Aldus, 1992), section 14 (predictor 2); TIFF Technical Note 3 (Adobe, 2005), predictor 3.
 */
import { HOST_IS_LITTLE_ENDIAN } from './sample-types.ts';

/**
 * Predictor 2 in place: every value of a row holds the difference from the one on its left. Numbers wrap around;
 * floating-point numbers are added as integers of their width.
 * @param bytes rows of `width` values of `size` bytes in native byte order, aligned to `size`
 */
export function undoHorizontal(bytes: Uint8Array<ArrayBuffer>, width: number, size: number): void {
  const { buffer, byteOffset, byteLength } = bytes;
  if (size === 8) {
    const wide = new BigUint64Array(buffer, byteOffset, byteLength / 8);
    for (let row = 0; row < wide.length; row += width) {
      for (let at = row + 1; at < row + width; at++) wide[at] += wide[at - 1];
    }
    return;
  }
  const Values = size === 1 ? Uint8Array : size === 2 ? Uint16Array : Uint32Array;
  const values = new Values(buffer, byteOffset, byteLength / size);
  for (let row = 0; row < values.length; row += width) {
    let sum = values[row];
    for (let at = row + 1; at < row + width; at++) {
      sum = (sum + values[at]) | 0;
      values[at] = sum;
    }
  }
}

/**
 * Predictor 3: the bytes of a row stand sorted by significance, the most significant of all values first whatever
 * the file's byte order, each byte the difference from the one before.
 * @param bytes rows of `width` values of `size` bytes as decoded; changed
 * @returns the same values in native byte order
 */
export function undoFloatingPoint(bytes: Uint8Array, width: number, size: number): Uint8Array<ArrayBuffer> {
  const out = new Uint8Array(bytes.length);
  const rowBytes = width * size;
  for (let row = 0; row < bytes.length; row += rowBytes) {
    let sum = bytes[row];
    for (let at = row + 1; at < row + rowBytes; at++) {
      sum = (sum + bytes[at]) & 255;
      bytes[at] = sum;
    }
    for (let plane = 0; plane < size; plane++) {
      let to = row + (HOST_IS_LITTLE_ENDIAN ? size - 1 - plane : plane);
      const end = row + (plane + 1) * width;
      for (let at = row + plane * width; at < end; at++, to += size) out[to] = bytes[at];
    }
  }
  return out;
}
