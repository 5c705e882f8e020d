/**
 * The eight-byte real of GDSII: sign, excess-64 exponent of 16, 56-bit fraction.
 * @source GDSII Stream Format, data type 5: value = (-1)^S (M / 2^56) 16^(E - 64), fraction in [1/16, 1).
 */

const scratch = new DataView(new ArrayBuffer(8));
const IMPLICIT = 1n << 52n;

/** The real8 that equals an IEEE double exactly (56 bits always hold its 53). RangeError outside 16^-64 .. 16^63. */
export function encodeReal8(value: number): Uint8Array {
  const out = new Uint8Array(8);
  if (value === 0) return out;
  if (!Number.isFinite(value)) throw new RangeError(`real8 cannot hold ${value}`);
  scratch.setFloat64(0, Math.abs(value));
  const bits = scratch.getBigUint64(0);
  const exponent = Number(bits >> 52n);
  if (exponent === 0) throw new RangeError(`real8 cannot hold ${value}`);
  const fraction = (bits & (IMPLICIT - 1n)) | IMPLICIT;
  // value = fraction 2^p; the shift makes the remaining power of two a power of sixteen.
  const p = exponent - 1075;
  const shift = (((p + 56) % 4) + 4) % 4;
  const e = (p + 56 - shift) / 4 + 64;
  if (e < 0 || e > 127) throw new RangeError(`real8 cannot hold ${value}`);
  const view = new DataView(out.buffer);
  view.setBigUint64(0, (fraction << BigInt(shift)) | (BigInt(e) << 56n) | (value < 0 ? 1n << 63n : 0n));
  return out;
}

/** The double nearest to a real8 at `offset`. */
export function decodeReal8(view: DataView, offset: number): number {
  const bits = view.getBigUint64(offset);
  const fraction = Number(bits & ((1n << 56n) - 1n));
  const exponent = Number((bits >> 56n) & 127n) - 64;
  const value = fraction * 2 ** (4 * exponent - 56);
  return bits >> 63n ? -value : value;
}
