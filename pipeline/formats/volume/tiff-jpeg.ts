/**
 * JPEG data within TIFF: every strip or tile is a picture of its own that may share its tables with the others.
 * @source Adobe Photoshop TIFF Technical Notes, TTN2: JPEGTables is an abbreviated stream of tables alone.
 */
import sharp from 'sharp';
import { DamagedData } from './damaged-data.ts';
import type { Bytes, TiffCodec } from './tiff-codecs.ts';

/** @param tables value of the tag JPEGTables; null where every chunk brings its own */
export function jpegCodec(tables: Bytes | null): TiffCodec {
  return {
    name: 'JPEG',
    // A block of 64 pixels takes at least one bit.
    mostGrowth: 512,
    predicts: false,
    decode: (input, size, width) => decode(tables, input, size, width),
  };
}

const START = 0xd8;
const END = 0xd9;

async function decode(tables: Bytes | null, input: Bytes, size: number, width: number): Promise<Bytes> {
  if (input[0] !== 0xff || input[1] !== START) throw new DamagedData('JPEG data without their start');
  const whole = withTables(tables, input);
  const components = componentsOf(whole);
  if (components !== 1) throw new DamagedData(`a JPEG picture of ${components} channels`);
  const { data, info } = await sharp(whole, {
    ignoreIcc: true,
    failOn: 'warning',
    limitInputPixels: Math.max(1, size),
  })
    .toColourspace('b-w')
    .raw()
    .toBuffer({ resolveWithObject: true })
    .catch((cause: unknown) => {
      const reason = String((cause as Error).message)
        .replace(/\s+/g, ' ')
        .slice(0, 120);
      throw new DamagedData(`JPEG data that do not decode (${reason})`);
    });
  if (info.channels !== 1 || info.width !== width || data.length > size) {
    throw new DamagedData(`a JPEG picture of ${info.width} x ${info.height} pixels`);
  }
  return new Uint8Array(data);
}

function withTables(tables: Bytes | null, input: Bytes): Bytes {
  if (!tables || tables.length < 4) return input;
  const ends = tables.at(-2) === 0xff && tables.at(-1) === END ? 2 : 0;
  const whole = new Uint8Array(tables.length - ends + input.length - 2);
  whole.set(tables.subarray(0, tables.length - ends));
  whole.set(input.subarray(2), tables.length - ends);
  return whole;
}

/** Components of the first frame; 0 where there is none. @source ITU-T T.81, B.2.2: frame header. */
function componentsOf(bytes: Bytes): number {
  for (let at = 2; at + 10 <= bytes.length && bytes[at] === 0xff; ) {
    const marker = bytes[at + 1];
    const isFrame = marker >= 0xc0 && marker <= 0xcf && marker !== 0xc4 && marker !== 0xc8 && marker !== 0xcc;
    if (isFrame) return bytes[at + 9];
    at += 2 + ((bytes[at + 2] << 8) | bytes[at + 3]);
  }
  return 0;
}
