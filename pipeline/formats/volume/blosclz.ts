/**
 * BloscLZ, the coder of c-blosc itself: runs of literals, and matches of up to 8191 bytes back, or 8192 and more.
 * @source c-blosc 1.x, blosclz.c, blosclz_decompress.
 */
import { DamagedData } from './damaged-data.ts';
import { copyBack } from './lz4.ts';

const FAR = 8191;

/** Fills `out` from `input`. @throws DamagedData when it does not fit exactly */
export function decodeBlosclz(input: Uint8Array, out: Uint8Array): void {
  let at = 0;
  let made = 0;
  const wrong = (what: string) => new DamagedData(`blosclz data with ${what}`, at);
  const next = (): number => {
    if (at >= input.length) throw wrong('an end too early');
    return input[at++];
  };
  // The first byte is always a run of literals; its upper bits tell the level.
  for (let control = next() & 31; ; control = next()) {
    if (control < 32) {
      const literals = control + 1;
      if (at + literals > input.length || made + literals > out.length) throw wrong('literals past the end');
      for (let n = 0; n < literals; n++) out[made++] = input[at++];
    } else {
      let length = (control >> 5) - 1;
      if (length === 6) {
        let more = 255;
        while (more === 255) {
          more = next();
          length += more;
        }
      }
      length += 3;
      const code = next();
      let offset = ((control & 31) << 8) + code + 1;
      if (code === 255 && (control & 31) === 31) offset = (next() << 8) + next() + FAR + 1;
      if (offset > made) throw wrong(`an offset of ${offset} at ${made}`);
      if (made + length > out.length) throw wrong('a match past the end');
      made = copyBack(out, made, offset, length);
    }
    if (at >= input.length) break;
  }
  if (made !== out.length) throw wrong(`${made} of ${out.length} bytes`);
}
