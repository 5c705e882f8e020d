/** Text in GDSII records. */
import { decodeText } from './text.ts';

/** Text up to the first NUL, which pads odd lengths. */
export function readText(bytes: Buffer, from: number, to: number): string {
  let end = from;
  while (end < to && bytes[end] !== 0) end++;
  return decodeText(bytes, from, end);
}
