/** How a reference maps its cell into the parent. */
import type { Affine2 } from '../../../shared/affine.ts';

const QUARTER_COSINES = [1, 0, -1, 0];
/** Angles this near a quarter turn are one: writers that convert from radians miss it in the last digits. */
const QUARTER_SNAP_DEG = 1e-9;

/** Cosine and sine of an angle in degrees, exact for multiples of 90 degrees. */
export function cosineSine(angleDeg: number): readonly [number, number] {
  const quarters = Math.round(angleDeg / 90);
  if (Math.abs(angleDeg - 90 * quarters) < QUARTER_SNAP_DEG) {
    const turn = ((quarters % 4) + 4) % 4;
    return [QUARTER_COSINES[turn], QUARTER_COSINES[(turn + 3) % 4]];
  }
  const radians = ((angleDeg % 360) * Math.PI) / 180;
  return [Math.cos(radians), Math.sin(radians)];
}

/**
 * The map "reflect, scale, rotate, translate": p' = R(angle) mag F p + (x, y), F = diag(1, -1) where reflected.
 *
 * @source GDS II Stream Format Manual 6.0, STRANS, MAG, ANGLE: reflection about the X axis comes before the
 * rotation, angles are in degrees counter-clockwise.
 */
export function placementTransform(
  x: number,
  y: number,
  angleDeg: number,
  magnification: number,
  reflected: boolean,
): Affine2 {
  const [cosine, sine] = cosineSine(angleDeg);
  const flip = reflected ? -1 : 1;
  // Adding 0 turns -0 into 0.
  return [
    magnification * cosine + 0,
    -flip * magnification * sine + 0,
    x,
    magnification * sine + 0,
    flip * magnification * cosine + 0,
    y,
  ];
}

/** Whether a map keeps axis-parallel edges axis-parallel, so that the box of an image is the image of the box. */
export const keepsAxes = (m: ArrayLike<number>, at = 0): boolean =>
  (m[at + 1] === 0 && m[at + 3] === 0) || (m[at] === 0 && m[at + 4] === 0);
