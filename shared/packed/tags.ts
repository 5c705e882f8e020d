/**
 * The part of TIFF that packed pyramids are written in.
 * @source TIFF Revision 6.0 (1992), sections 2, 8 and 15; Adobe's technical notes of 2002 for JPEG in TIFF (347) and
 *   deflate (compression 8).
 */
export const TAG = {
  subfileType: 254,
  width: 256,
  height: 257,
  bits: 258,
  compression: 259,
  photometric: 262,
  samples: 277,
  planar: 284,
  tileWidth: 322,
  tileHeight: 323,
  tileOffsets: 324,
  tileBytes: 325,
  jpegTables: 347,
} as const;

/** Types of fields: bytes of one value. */
export const FIELD = { short: 3, long: 4, undefined: 7 } as const;

export const COMPRESSION = { jpeg: 7, deflate: 8 } as const;

/** Bits of the subfile type: a smaller copy of another image; a mask of one, 1 where there is data. */
export const SMALLER = 1;
export const MASK = 4;

/** Photometric interpretations. */
export const BLACK_IS_ZERO = 1;
export const IS_MASK = 4;
