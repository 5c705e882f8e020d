/**
 * Snappy blocks: the length, then literals and copies.
 * @source Snappy compressed format description, google/snappy.
 */
import { DamagedData } from './damaged-data.ts';
import { copyBack } from './lz4.ts';

/** Fills `out` from `input`. @throws DamagedData when it does not fit exactly */
export function decodeSnappy(input: Uint8Array, out: Uint8Array): void {
  let at = 0;
  let made = 0;
  const wrong = (what: string) => new DamagedData(`snappy data with ${what}`, at);
  const little = (bytes: number): number => {
    if (at + bytes > input.length) throw wrong('an end too early');
    let value = 0;
    for (let n = 0; n < bytes; n++) value += input[at++] * 2 ** (8 * n);
    return value;
  };
  let stated = 0;
  for (let shift = 0; ; shift += 7) {
    const byte = little(1);
    stated += (byte & 127) * 2 ** shift;
    if (byte < 128) break;
    if (shift > 28) throw wrong('a length of too many bytes');
  }
  if (stated !== out.length) throw wrong(`a length of ${stated} instead of ${out.length}`);
  while (at < input.length) {
    const tag = input[at++];
    const kind = tag & 3;
    if (kind === 0) {
      const short = tag >> 2;
      const literals = (short < 60 ? short : little(short - 59)) + 1;
      if (at + literals > input.length || made + literals > out.length) throw wrong('literals past the end');
      out.set(input.subarray(at, at + literals), made);
      at += literals;
      made += literals;
      continue;
    }
    const length = kind === 1 ? ((tag >> 2) & 7) + 4 : (tag >> 2) + 1;
    const offset = kind === 1 ? ((tag >> 5) << 8) + little(1) : little(kind === 2 ? 2 : 4);
    if (offset === 0 || offset > made) throw wrong(`an offset of ${offset} at ${made}`);
    if (made + length > out.length) throw wrong('a copy past the end');
    made = copyBack(out, made, offset, length);
  }
  if (made !== out.length) throw wrong(`${made} of ${out.length} bytes`);
}
