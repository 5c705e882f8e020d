/** Values of the volume to grey bytes. The map is linear and stated, so that it can be undone. */
import type { GreyLevel } from '../../output/packed/levels.ts';
import type { PictureData } from '../../output/pyramid.ts';

/**
 * @param values NaN where there is no data
 * @param transparent whether to carry an opacity channel; without it, pixels without data become mid grey
 */
export function greyPicture(
  values: Float32Array,
  width: number,
  height: number,
  black: number,
  white: number,
  transparent: boolean,
): PictureData {
  const { grey, held } = greyPlanes(values, width, height, black, white);
  if (!transparent) return { bytes: grey, channels: 1, width, height };
  const bytes = new Uint8Array(2 * grey.length);
  for (let n = 0; n < grey.length; n++) {
    bytes[2 * n] = grey[n]!;
    bytes[2 * n + 1] = held && held[n] === 0 ? 0 : 255;
  }
  return { bytes, channels: 2, width, height };
}

/** The same with what has data apart; pixels without data are mid grey. */
export function greyPlanes(
  values: Float32Array,
  width: number,
  height: number,
  black: number,
  white: number,
): GreyLevel {
  const scale = 255 / (white - black);
  const grey = new Uint8Array(values.length);
  let held: Uint8Array | null = null;
  for (let n = 0; n < values.length; n++) {
    const level = (values[n]! - black) * scale;
    // Half up, as everywhere.
    if (level > 0) grey[n] = level >= 255 ? 255 : (level + 0.5) | 0;
    else if (Number.isNaN(level)) {
      held ??= new Uint8Array(values.length).fill(1);
      held[n] = 0;
      grey[n] = 128;
    }
  }
  return { width, height, grey, held };
}
