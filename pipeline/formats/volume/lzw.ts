/**
 * LZW as TIFF uses it: codes of 9 to 12 bits, most significant bit first, one code early.
 * @source TIFF Revision 6.0 (Aldus, 1992), section 13.
 */
import { DamagedData } from './damaged-data.ts';

const CLEAR = 256;
const END = 257;
const TABLE = 4096;

/**
 * Decodes until `size` bytes are made or the input ends; the result may be shorter than `size`.
 * @throws DamagedData for a code that no encoder can have written.
 */
export function decodeLzw(input: Uint8Array, size: number): Uint8Array<ArrayBuffer> {
  // Before 1990 some writers packed codes from the low bit; such data start with a clear code of 00 x1.
  if (input.length >= 2 && input[0] === 0 && (input[1] & 1) === 1) {
    throw new DamagedData('LZW codes in the bit order used before TIFF 5.0');
  }
  const out = new Uint8Array(size);
  // A table entry is the string before plus the first byte of the string after it. In the output these bytes stand
  // one behind the other already, so an entry is a place and a length, and no string is stored twice.
  const place = new Uint32Array(TABLE);
  const length = new Uint32Array(TABLE);
  let made = 0;
  let bits = 0;
  let bitCount = 0;
  let width = 9;
  let next = 258;
  let before = -1;
  let beforeLength = 0;
  let at = 0;
  while (made < size) {
    while (bitCount < width) {
      if (at >= input.length) return out.subarray(0, made);
      bits = ((bits << 8) | input[at++]) & 0xffffff;
      bitCount += 8;
    }
    bitCount -= width;
    const code = (bits >> bitCount) & ((1 << width) - 1);
    if (code === CLEAR) {
      width = 9;
      next = 258;
      before = -1;
      continue;
    }
    if (code === END) break;
    const start = made;
    let added = 1;
    if (code < CLEAR) out[made++] = code;
    else {
      const isNew = code === next && before >= 0;
      if (!isNew && code >= next) throw new DamagedData(`LZW code ${code} before it was defined`, at);
      let from = isNew ? before : place[code];
      added = isNew ? beforeLength + 1 : length[code];
      const stop = Math.min(size, made + added);
      // Byte by byte and forwards: an entry may reach into the bytes that it is just making.
      while (made < stop) out[made++] = out[from++];
    }
    if (before >= 0 && next < TABLE) {
      place[next] = before;
      length[next] = beforeLength + 1;
      next++;
      if (next === (1 << width) - 1 && width < 12) width++;
    }
    before = start;
    beforeLength = added;
  }
  return out.subarray(0, made);
}
