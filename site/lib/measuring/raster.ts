/** From the bytes of a picture to values that can be measured. Pure, so that the build's decoder can be held against it. */
import { cubic, type Sampler } from '../../../shared/profile/sampler.ts';

/** Red, green, blue, opacity of each pixel, row by row. */
export interface Bytes {
  readonly data: ArrayLike<number>;
  readonly width: number;
  readonly height: number;
}

/**
 * Greys, NaN where the picture is transparent.
 * @source weights of colours: ITU-R BT.709-6, 3.2 (luma); grey pixels come out as they are
 */
export function greysOfBytes({ data, width, height }: Bytes): Float64Array {
  return Float64Array.from({ length: width * height }, (_, n) => {
    const at = 4 * n;
    if (data[at + 3] === 0) return Number.NaN;
    const [r, g, b] = [data[at]!, data[at + 1]!, data[at + 2]!];
    return r === g && g === b ? r : 0.2126 * r + 0.7152 * g + 0.0722 * b;
  });
}

/** Values between the pixels of a cutting, asked for by column and row of the whole picture. */
export function samplerOf(bytes: Bytes, left: number, top: number): Sampler {
  const inner = cubic({ values: greysOfBytes(bytes), width: bytes.width, height: bytes.height });
  return (column, row) => inner(column - left, row - top);
}
