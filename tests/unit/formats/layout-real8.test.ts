import { describe, expect, it } from 'vitest';
import { readReal8 } from '../../../pipeline/formats/layout/real8.ts';
import { hex } from '../../fixtures/layout/gdsii-bytes.ts';
import { REAL8_TABLE } from '../../fixtures/layout/real8-table.ts';

const decode = (bytes: Buffer): number => readReal8(new DataView(bytes.buffer, bytes.byteOffset, 8), 0);

describe('8-byte real', () => {
  it.each(REAL8_TABLE)('%d is %s', (value, bytes) => {
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
