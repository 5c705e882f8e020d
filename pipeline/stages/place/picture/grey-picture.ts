/** A flat picture made fit for matching: small, grey along the colour that varies most, shading and scratches of light off. */
import sharp from 'sharp';
import type { Affine2 } from '../../../../shared/affine.ts';
import { pictureSize, unreadablePicture } from '../../../formats/picture.ts';
import { smooth, withoutSlow } from '../../../kernels/smooth.ts';

export interface GreyPicture {
  readonly width: number;
  readonly height: number;
  /** Zero mean over any wide neighbourhood, unit spread over all. */
  readonly values: Float32Array;
  /** Pixel of the file to pixel of this. */
  readonly fromFile: Affine2;
}

/** Most pixels across. */
const MOST_ACROSS = 480;
/** Width of what counts as slow shading, as a share of the field. */
export const SLOW_SHARE = 1 / 8;
/** Values this many standard deviations out are cut: glints and dust. */
const CUT = 3;

/** @throws InputFault when the file is damaged */
export async function readGrey(file: string, name: string): Promise<GreyPicture> {
  const { width: fileWidth, height: fileHeight } = await pictureSize(file, name);
  const { data, info } = await sharp(file, { failOn: 'error' })
    .autoOrient()
    .toColourspace('srgb')
    .removeAlpha()
    .resize({ width: MOST_ACROSS, height: MOST_ACROSS, fit: 'inside', withoutEnlargement: true })
    .raw()
    .toBuffer({ resolveWithObject: true })
    .catch((error) => {
      throw unreadablePicture(name, error);
    });
  const { width, height, channels } = info;
  const planes = Array.from({ length: Math.min(3, channels) }, (_, c) => {
    const plane = new Float32Array(width * height);
    for (let n = 0; n < plane.length; n++) plane[n] = data[n * channels + c]!;
    return evened(plane, width, height);
  });
  const values = strongest(planes);
  const [sx, sy] = [width / fileWidth, height / fileHeight];
  return { width, height, values, fromFile: [sx, 0, (sx - 1) / 2, 0, sy, (sy - 1) / 2] };
}

function evened(plane: Float32Array, width: number, height: number): Float32Array {
  const weight = new Float32Array(plane.length).fill(1);
  const sigma = Math.max(3, SLOW_SHARE * Math.min(width, height));
  const smoothed = smooth(Float32Array.from(weight), width, height, sigma);
  return withoutSlow(plane, weight, smoothed, width, height, sigma);
}

/** The planes added up so that as much variance as can be is kept: their first principal component. */
function strongest(planes: readonly Float32Array[]): Float32Array {
  const size = planes.length;
  const sums = planes.map((p) => planes.map((q) => p.reduce((sum, v, n) => sum + v * q[n]!, 0)));
  let axis = new Array<number>(size).fill(1);
  for (let n = 0; n < 50; n++) {
    const next = sums.map((line) => line.reduce((sum, v, c) => sum + v * axis[c]!, 0));
    const length = Math.hypot(...next);
    if (!(length > 0)) break;
    axis = next.map((v) => v / length);
  }
  const out = new Float32Array(planes[0]!.length);
  for (let n = 0; n < out.length; n++)
    out[n] = planes.reduce((sum, plane, c) => sum + axis[c]! * plane[n]!, 0);
  const spread = Math.sqrt(out.reduce((sum, v) => sum + v * v, 0) / out.length) || 1;
  return out.map((v) => Math.min(CUT, Math.max(-CUT, v / spread)));
}
