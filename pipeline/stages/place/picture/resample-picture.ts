/** A picture seen on a grid of the die. */
import { type Affine2, invert2 } from '../../../../shared/affine.ts';
import type { PlateGrid } from '../../../../shared/frames.ts';
import type { GreyPicture } from './grey-picture.ts';

export interface Seen {
  readonly values: Float32Array;
  /** 1 inside the picture. */
  readonly weight: Float32Array;
}

/** @param map pixel of the picture to die micrometres; linear interpolation */
export function onGrid(picture: GreyPicture, map: Affine2, grid: PlateGrid): Seen {
  const { width_px: width, height_px: height, origin_um: origin, pixel_um: pixel } = grid;
  const values = new Float32Array(width * height);
  const weight = new Float32Array(width * height);
  const [a, b, tx, c, d, ty] = invert2(map);
  for (let row = 0, p = 0; row < height; row++) {
    const y = origin[1] - row * pixel;
    for (let column = 0; column < width; column++, p++) {
      const x = origin[0] + column * pixel;
      const i = a * x + b * y + tx;
      const j = c * x + d * y + ty;
      if (!(i >= 0 && j >= 0 && i < picture.width - 1 && j < picture.height - 1)) continue;
      const i0 = Math.floor(i);
      const j0 = Math.floor(j);
      const q = j0 * picture.width + i0;
      const [u, v] = [i - i0, j - j0];
      const row0 = picture.values[q]! * (1 - u) + picture.values[q + 1]! * u;
      const row1 = picture.values[q + picture.width]! * (1 - u) + picture.values[q + picture.width + 1]! * u;
      values[p] = row0 * (1 - v) + row1 * v;
      weight[p] = 1;
    }
  }
  return { values, weight };
}

/** The grid that holds a picture under a map, with a rim. */
export function gridRound(picture: GreyPicture, map: Affine2, pixelUm: number, rimUm: number): PlateGrid {
  const [a, b, tx, c, d, ty] = map;
  const [w, h] = [picture.width - 1, picture.height - 1];
  const corners = [
    [0, 0],
    [w, 0],
    [0, h],
    [w, h],
  ] as const;
  const xs = corners.map(([i, j]) => a * i + b * j + tx);
  const ys = corners.map(([i, j]) => c * i + d * j + ty);
  const [left, top] = [Math.min(...xs) - rimUm, Math.max(...ys) + rimUm];
  return {
    origin_um: [left, top],
    pixel_um: pixelUm,
    width_px: Math.ceil((Math.max(...xs) + rimUm - left) / pixelUm) + 1,
    height_px: Math.ceil((top - Math.min(...ys) + rimUm) / pixelUm) + 1,
  };
}
