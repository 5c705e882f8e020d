/** Values of the volume to grey bytes. The map is linear and stated, so that it can be undone. */
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
  const scale = 255 / (white - black);
  const channels = transparent ? 2 : 1;
  const bytes = new Uint8Array(width * height * channels);
  for (let n = 0; n < values.length; n++) {
    const value = values[n]!;
    const hasData = !Number.isNaN(value);
    const level = (value - black) * scale;
    // Half up, as everywhere.
    const grey = hasData ? (level <= 0 ? 0 : level >= 255 ? 255 : (level + 0.5) | 0) : 128;
    if (transparent) {
      bytes[2 * n] = grey;
      bytes[2 * n + 1] = hasData ? 255 : 0;
    } else bytes[n] = grey;
  }
  return { bytes, channels, width, height };
}
