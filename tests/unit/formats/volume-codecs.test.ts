/** The two coders of our own, on published and hand-worked examples. Files by libtiff check them at length. */
import { describe, expect, it } from 'vitest';
import { DamagedData } from '../../../pipeline/formats/volume/damaged-data.ts';
import { decodeLzw } from '../../../pipeline/formats/volume/lzw.ts';
import { decodePackBits } from '../../../pipeline/formats/volume/packbits.ts';

/** Codes of 9 bits each, most significant bit first. */
function packNine(codes: readonly number[]): Uint8Array {
  const bits = codes.map((code) => code.toString(2).padStart(9, '0')).join('');
  const bytes = bits.match(/.{1,8}/g) ?? [];
  return Uint8Array.from(bytes, (byte) => Number.parseInt(byte.padEnd(8, '0'), 2));
}

describe('LZW', () => {
  // The example of TIFF 6.0, section 13, quoted from memory and worked by hand: 258 is "7 7" while it is being made.
  const codes = [256, 7, 258, 8, 8, 258, 6, 6, 257];
  const plain = [7, 7, 7, 8, 8, 7, 7, 6, 6];

  it('decodes the worked example', () => {
    expect([...decodeLzw(packNine(codes), 100)]).toEqual(plain);
  });

  it('stops at the size that was asked for, within a string too', () => {
    for (let size = 0; size <= plain.length; size++) {
      expect([...decodeLzw(packNine(codes), size)]).toEqual(plain.slice(0, size));
    }
  });

  it('gives what there is when the data end without an end code', () => {
    expect([...decodeLzw(packNine(codes.slice(0, 5)), 100)]).toEqual([7, 7, 7, 8, 8]);
    expect(decodeLzw(new Uint8Array(0), 100)).toHaveLength(0);
  });

  it('refuses a code that was not defined', () => {
    expect(() => decodeLzw(packNine([256, 7, 259]), 100)).toThrow(DamagedData);
    expect(() => decodeLzw(packNine([256, 258]), 100)).toThrow(DamagedData);
  });

  it('starts anew at a clear code', () => {
    expect([...decodeLzw(packNine([256, 1, 258, 256, 2, 258, 257]), 100)]).toEqual([1, 1, 1, 2, 2, 2]);
  });
});

describe('PackBits', () => {
  // @source Apple Technical Note TN1023, "Understanding PackBits".
  const packed = Uint8Array.from([
    0xfe, 0xaa, 0x02, 0x80, 0x00, 0x2a, 0xfd, 0xaa, 0x03, 0x80, 0x00, 0x2a, 0x22, 0xf7, 0xaa,
  ]);
  const plain = [
    0xaa, 0xaa, 0xaa, 0x80, 0x00, 0x2a, 0xaa, 0xaa, 0xaa, 0xaa, 0x80, 0x00, 0x2a, 0x22, 0xaa, 0xaa, 0xaa,
    0xaa, 0xaa, 0xaa, 0xaa, 0xaa, 0xaa, 0xaa,
  ];

  it('decodes the published example', () => {
    expect([...decodePackBits(packed, 100)]).toEqual(plain);
    for (let size = 0; size <= plain.length; size++) {
      expect([...decodePackBits(packed, size)]).toEqual(plain.slice(0, size));
    }
  });

  it('passes over the code that means nothing', () => {
    expect([...decodePackBits(Uint8Array.from([0x80, 0x00, 0x05, 0x80]), 100)]).toEqual([5]);
  });

  it('refuses a run that the data end within', () => {
    expect(() => decodePackBits(Uint8Array.from([0x02, 0x01]), 100)).toThrow(DamagedData);
    expect(() => decodePackBits(Uint8Array.from([0xfe]), 100)).toThrow(DamagedData);
  });
});
