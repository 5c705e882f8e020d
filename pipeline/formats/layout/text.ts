/** Text in layout files. The standards know ASCII alone; files hold UTF-8 and Latin-1 too. */
const UTF8 = new TextDecoder('utf-8', { fatal: true });

/** The text of bytes[from .. to): UTF-8 where it is that, else Latin-1. */
export function decodeText(bytes: Buffer, from: number, to: number): string {
  let isAscii = true;
  for (let at = from; at < to && isAscii; at++) isAscii = bytes[at] <= 0x7f;
  if (isAscii) return bytes.toString('latin1', from, to);
  try {
    return UTF8.decode(bytes.subarray(from, to));
  } catch {
    return bytes.toString('latin1', from, to);
  }
}
