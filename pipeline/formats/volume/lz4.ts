/**
 * LZ4 blocks: literals and matches in turn, a match reaching back up to 64 kB.
 * @source LZ4 Block Format Description, lz4 project.
 */
import { DamagedData } from './damaged-data.ts';

/** Matches longer than this are copied by the system's own means. */
const LONG = 32;

/** Fills `out` from `input`. @throws DamagedData when it does not fit exactly */
export function decodeLz4(input: Uint8Array, out: Uint8Array): void {
  let at = 0;
  let made = 0;
  const wrong = (what: string) => new DamagedData(`lz4 data with ${what}`, at);
  while (at < input.length) {
    const token = input[at++];
    let literals = token >> 4;
    if (literals === 15) {
      let more = 255;
      while (more === 255) {
        if (at >= input.length) throw wrong('a length cut off');
        more = input[at++];
        literals += more;
      }
    }
    if (at + literals > input.length || made + literals > out.length) throw wrong('literals past the end');
    if (literals > LONG) {
      out.set(input.subarray(at, at + literals), made);
      at += literals;
      made += literals;
    } else for (let n = 0; n < literals; n++) out[made++] = input[at++];
    // The last sequence has no match.
    if (at === input.length) break;
    if (at + 2 > input.length) throw wrong('an offset cut off');
    const offset = input[at] | (input[at + 1] << 8);
    at += 2;
    let length = (token & 15) + 4;
    if (length === 19) {
      let more = 255;
      while (more === 255) {
        if (at >= input.length) throw wrong('a length cut off');
        more = input[at++];
        length += more;
      }
    }
    if (offset === 0 || offset > made) throw wrong(`an offset of ${offset} at ${made}`);
    if (made + length > out.length) throw wrong('a match past the end');
    made = copyBack(out, made, offset, length);
  }
  if (made !== out.length) throw wrong(`${made} of ${out.length} bytes`);
}

/** Repeats what stands `offset` before; the two may overlap, and then repeat themselves. @returns the new end */
export function copyBack(out: Uint8Array, made: number, offset: number, length: number): number {
  if (length > LONG && offset >= length) {
    out.copyWithin(made, made - offset, made - offset + length);
    return made + length;
  }
  if (length > LONG && offset === 1) {
    out.fill(out[made - 1], made, made + length);
    return made + length;
  }
  const end = made + length;
  for (let from = made - offset, to = made; to < end; ) out[to++] = out[from++];
  return end;
}
