import { describe, expect, it } from 'vitest';
import { readReal8 } from '../../../pipeline/formats/layout/real8.ts';
import { hex } from '../../fixtures/layout/gdsii-bytes.ts';

/**
 * Worked from the definition in the GDS II Stream Format Manual 6.0 (data type 5), (-1)^S x M / 2^56 x 16^(E - 64),
 * with whole-number arithmetic, independently of the reader. The two lines for 1e-9 are the encoding of the double
 * and the one nearest to the decimal; both are met in files.
 */
const TABLE: readonly (readonly [number, string])[] = [
  [0, '00 00 00 00 00 00 00 00'],
  [1, '41 10 00 00 00 00 00 00'],
  [-1, 'C1 10 00 00 00 00 00 00'],
  [2, '41 20 00 00 00 00 00 00'],
  [0.5, '40 80 00 00 00 00 00 00'],
  [1.5, '41 18 00 00 00 00 00 00'],
  [10, '41 A0 00 00 00 00 00 00'],
  [100, '42 64 00 00 00 00 00 00'],
  [1000, '43 3E 80 00 00 00 00 00'],
  [10000, '44 27 10 00 00 00 00 00'],
  [45, '42 2D 00 00 00 00 00 00'],
  [90, '42 5A 00 00 00 00 00 00'],
  [180, '42 B4 00 00 00 00 00 00'],
  [270, '43 10 E0 00 00 00 00 00'],
  [0.001, '3E 41 89 37 4B C6 A7 F0'],
  [0.005, '3F 14 7A E1 47 AE 14 7B'],
  [1e-9, '39 44 B8 2F A0 9B 5A 54'],
  [1e-9, '39 44 B8 2F A0 9B 5A 53'],
  [1e-6, '3C 10 C6 F7 A0 B5 ED 8D'],
  [5e-9, '3A 15 79 8E E2 30 8C 3A'],
  [1e-10, '38 6D F3 7F 67 5E F6 EB'],
  [2e-10, '38 DB E6 FE CE BD ED D6'],
];

const decode = (bytes: Buffer): number => readReal8(new DataView(bytes.buffer, bytes.byteOffset, 8), 0);

describe('8-byte real', () => {
  it.each(TABLE)('%d is %s', (value, bytes) => {
    expect(decode(hex(bytes))).toBe(value);
  });

  it('reads mantissas that are not normalised, and keeps zero without a sign', () => {
    expect(decode(hex('42 01 00 00 00 00 00 00'))).toBe(1);
    expect(Object.is(decode(hex('80 00 00 00 00 00 00 00')), 0)).toBe(true);
  });

  it('is the value of the definition for any bytes (exact whole numbers as the judge)', () => {
    let state = 12345;
    const next = () => {
      state = (Math.imul(state, 1103515245) + 12345) >>> 0;
      return state;
    };
    for (let n = 0; n < 500; n++) {
      const bytes = Buffer.alloc(8);
      bytes.writeUInt32BE(next(), 0);
      bytes.writeUInt32BE(next(), 4);
      const mantissa = bytes.readBigUInt64BE(0) & 0xffffffffffffffn;
      const exponent = (bytes[0] & 0x7f) - 64;
      const exact = Number(mantissa) * 2 ** (4 * exponent - 56) * (bytes[0] > 127 ? -1 : 1);
      expect(decode(bytes)).toBe(exact);
    }
  });
});
