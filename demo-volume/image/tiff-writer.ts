/**
 * One grey image, 16-bit or 32-bit floating point, as a single-page, uncompressed, one-strip TIFF with its pixel size.
 * @source TIFF revision 6.0 (1992), baseline grey-scale images; resolution tags 282, 283, 296,
 * sample format 339.
 */

const LITTLE_ENDIAN_HOST = new Uint8Array(new Uint16Array([1]).buffer)[0] === 1;
const CENTIMETRE = 3;
const NM_PER_CM = 1e7;

/** Bytes of the file. `pixels` holds width x height values, first row at the top. */
export function encodeTiff(
  pixels: Uint16Array | Float32Array,
  width: number,
  height: number,
  pixelNm: number,
): Uint8Array {
  if (pixels.length !== width * height) throw new RangeError('pixels do not fill the image');
  const strip = pixels.byteLength;
  // Resolution in pixels per centimetre as a fraction with three decimals kept.
  const perCm = Math.round((NM_PER_CM / pixelNm) * 1000);
  const SHORT = 3;
  const LONG = 4;
  const RATIONAL = 5;
  const entries: [tag: number, type: number, value: number][] = [
    [256, LONG, width],
    [257, LONG, height],
    [258, SHORT, 8 * pixels.BYTES_PER_ELEMENT],
    [259, SHORT, 1],
    [262, SHORT, 1],
    [273, LONG, 0],
    [277, SHORT, 1],
    [278, LONG, height],
    [279, LONG, strip],
    [282, RATIONAL, 0],
    [283, RATIONAL, 0],
    [296, SHORT, CENTIMETRE],
    [339, SHORT, pixels instanceof Float32Array ? 3 : 1],
  ];
  const directory = 8;
  const rational = directory + 2 + entries.length * 12 + 4;
  const start = rational + 8 + 6;
  const bytes = new Uint8Array(start + strip);
  const view = new DataView(bytes.buffer);
  view.setUint16(0, 0x4949);
  view.setUint16(2, 42, true);
  view.setUint32(4, directory, true);
  view.setUint16(directory, entries.length, true);
  entries.forEach(([tag, type, value], i) => {
    const at = directory + 2 + 12 * i;
    view.setUint16(at, tag, true);
    view.setUint16(at + 2, type, true);
    view.setUint32(at + 4, 1, true);
    const data = tag === 273 ? start : type === RATIONAL ? rational : value;
    if (type === SHORT) view.setUint16(at + 8, data, true);
    else view.setUint32(at + 8, data, true);
  });
  view.setUint32(rational, perCm, true);
  view.setUint32(rational + 4, 1000, true);
  if (LITTLE_ENDIAN_HOST) bytes.set(new Uint8Array(pixels.buffer, pixels.byteOffset, strip), start);
  else
    pixels.forEach((value, i) => {
      if (pixels instanceof Float32Array) view.setFloat32(start + 4 * i, value, true);
      else view.setUint16(start + 2 * i, value, true);
    });
  return bytes;
}
