/** Says in a PNG how large it is meant to be printed, which a canvas does not. */

/**
 * @param png a whole PNG file
 * @throws Error where it is none
 * @source PNG specification, third edition (W3C, 2025), 5.3 (chunks), 11.3.4.3 (pHYs: pixels per unit, unit 1 is the
 * metre), annex D (CRC)
 */
export function withDensity(png: Uint8Array, dpi: number): Uint8Array<ArrayBuffer> {
  const signature = [137, 80, 78, 71, 13, 10, 26, 10];
  if (png.length < 33 || signature.some((byte, at) => png[at] !== byte)) throw new Error('not a PNG');
  const perMetre = Math.round(dpi / 0.0254);
  const chunk = new Uint8Array(21);
  const view = new DataView(chunk.buffer);
  view.setUint32(0, 9);
  chunk.set([0x70, 0x48, 0x59, 0x73], 4);
  view.setUint32(8, perMetre);
  view.setUint32(12, perMetre);
  chunk[16] = 1;
  view.setUint32(17, crc32(chunk.subarray(4, 17)));
  // Behind the header (8 of signature, 25 of IHDR), and in front of the first data.
  const out = new Uint8Array(png.length + chunk.length);
  out.set(png.subarray(0, 33));
  out.set(chunk, 33);
  out.set(png.subarray(33), 33 + chunk.length);
  return out;
}

function crc32(bytes: Uint8Array): number {
  let crc = 0xffffffff;
  for (const byte of bytes) {
    crc ^= byte;
    for (let bit = 0; bit < 8; bit++) crc = crc & 1 ? (crc >>> 1) ^ 0xedb88320 : crc >>> 1;
  }
  return (crc ^ 0xffffffff) >>> 0;
}
