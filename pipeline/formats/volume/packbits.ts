/**
 * PackBits run lengths.
 * @source TIFF Revision 6.0 (Aldus, 1992), section 9.
 */
import { DamagedData } from './damaged-data.ts';

/**
 * Decodes until `size` bytes are made or the input ends; the result may be shorter than `size`.
 * @throws DamagedData for a run that reaches past the end of the input.
 */
export function decodePackBits(input: Uint8Array, size: number): Uint8Array<ArrayBuffer> {
  const out = new Uint8Array(size);
  let made = 0;
  let at = 0;
  while (made < size && at < input.length) {
    const lead = input[at++];
    if (lead === 128) continue; // no operation
    const isLiteral = lead < 128;
    const run = isLiteral ? lead + 1 : 257 - lead;
    const needed = isLiteral ? run : 1;
    if (at + needed > input.length) throw new DamagedData('a PackBits run that the data end within', at);
    const kept = Math.min(run, size - made);
    if (isLiteral) out.set(input.subarray(at, at + kept), made);
    else out.fill(input[at], made, made + kept);
    at += needed;
    made += kept;
  }
  return out.subarray(0, made);
}
