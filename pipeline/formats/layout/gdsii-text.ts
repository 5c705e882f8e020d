/** Text in GDSII records. The standard knows ASCII alone; files hold UTF-8 and Latin-1 too. */
const UTF8 = new TextDecoder('utf-8', { fatal: true });

/** Text up to the first NUL, which pads odd lengths. */
export function readText(bytes: Buffer, from: number, to: number): string {
  let end = from;
  let isAscii = true;
  while (end < to && bytes[end] !== 0) {
    if (bytes[end] > 0x7f) isAscii = false;
    end++;
  }
  if (isAscii) return bytes.toString('latin1', from, end);
  try {
    return UTF8.decode(bytes.subarray(from, end));
  } catch {
    return bytes.toString('latin1', from, end);
  }
}
