/**
 * The 8-byte real of GDSII: sign bit, 7-bit exponent to the base 16 in excess-64 notation, 56-bit mantissa.
 *
 * @source GDS II Stream Format Manual 6.0, data type 5: value = (-1)^S x (M / 2^56) x 16^(E - 64); zero is all bits 0.
 */
export function readReal8(view: DataView, offset: number): number {
  const high = view.getUint32(offset);
  const low = view.getUint32(offset + 4);
  const exponent = ((high >>> 24) & 0x7f) - 64;
  // 24 + 32 mantissa bits; the sum rounds to the 53 of a double, once.
  const mantissa = (high & 0xffffff) * 2 ** 32 + low;
  // 16^-64 x 2^-56 stays far inside the range of a double, so neither factor underflows.
  const value = mantissa * 2 ** (4 * exponent - 56);
  return high >>> 31 === 1 && value !== 0 ? -value : value;
}
