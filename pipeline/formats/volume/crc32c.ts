/**
 * CRC-32C (Castagnoli), reflected polynomial 0x82f63b78, eight bytes at a time.
 * @source RFC 3720, section 12.1 and appendix B.4: the check value of 32 zero bytes is 0x8a9136aa.
 */
const TABLES = Array.from({ length: 8 }, () => new Uint32Array(256));
for (let byte = 0; byte < 256; byte++) {
  let rest = byte;
  for (let bit = 0; bit < 8; bit++) rest = rest & 1 ? (rest >>> 1) ^ 0x82f63b78 : rest >>> 1;
  TABLES[0][byte] = rest >>> 0;
}
for (let byte = 0; byte < 256; byte++) {
  for (let n = 1; n < 8; n++) {
    const before = TABLES[n - 1][byte];
    TABLES[n][byte] = ((before >>> 8) ^ TABLES[0][before & 255]) >>> 0;
  }
}
const [T0, T1, T2, T3, T4, T5, T6, T7] = TABLES;

export function crc32c(bytes: Uint8Array): number {
  let crc = 0xffffffff;
  let at = 0;
  for (; at + 8 <= bytes.length; at += 8) {
    crc ^= bytes[at] | (bytes[at + 1] << 8) | (bytes[at + 2] << 16) | (bytes[at + 3] << 24);
    crc =
      T7[crc & 255] ^
      T6[(crc >>> 8) & 255] ^
      T5[(crc >>> 16) & 255] ^
      T4[crc >>> 24] ^
      T3[bytes[at + 4]] ^
      T2[bytes[at + 5]] ^
      T1[bytes[at + 6]] ^
      T0[bytes[at + 7]];
  }
  for (; at < bytes.length; at++) crc = (crc >>> 8) ^ T0[(crc ^ bytes[at]) & 255];
  return ~crc >>> 0;
}
