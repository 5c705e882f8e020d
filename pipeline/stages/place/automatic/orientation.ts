/** The eight ways a picture can lie on a rectangular drawing, and the maps they make. */
import { type Affine3, compose3 } from '../../../../shared/affine.ts';

/** Row-major 2 x 2 matrix of whole numbers: die = matrix * frame. */
export type Orientation = readonly [number, number, number, number];

/** The quarter turns, then the mirrored ones. */
export const ORIENTATIONS: readonly Orientation[] = [
  [1, 0, 0, 1],
  [0, -1, 1, 0],
  [-1, 0, 0, -1],
  [0, 1, -1, 0],
  [-1, 0, 0, 1],
  [0, 1, 1, 0],
  [1, 0, 0, -1],
  [0, -1, -1, 0],
];

export interface Hypothesis {
  /** Index into ORIENTATIONS. */
  readonly orientation: number;
  /** 1 where the heights of the frame rise with those of the die, -1 where they fall. */
  readonly rising: 1 | -1;
  /** Die micrometres per frame micrometre, in plane. */
  readonly scale: number;
  /** Die position of the middle of the frame. */
  readonly x: number;
  readonly y: number;
  readonly z: number;
  /** 1 where metal is bright, -1 where it is dark. */
  readonly sign: 1 | -1;
  readonly score: number;
}

/** Frame (micrometres, middle at 0) to die. */
export function dieFromFrame(h: Hypothesis): Affine3 {
  const [a, b, c, d] = ORIENTATIONS[h.orientation]!;
  const s = h.scale;
  return [
    [s * a, s * b, 0, h.x],
    [s * c, s * d, 0, h.y],
    [0, 0, h.rising, h.z],
  ];
}

/**
 * Work voxel to level frame: micrometres from the middle of the volume, x along the turned edges, y up the picture,
 * z along the slices.
 * @param tilt rise of the layers along the picture's x and y
 * @param turn counter-clockwise turn of the edges, radians
 */
export function frameFromWork(
  size: readonly [number, number, number],
  voxelUm: readonly [number, number, number],
  tilt: { readonly alongX: number; readonly alongY: number },
  turn: number,
): Affine3 {
  const [x, y, z] = voxelUm;
  const middle: Affine3 = [
    [x, 0, 0, (-x * (size[0] - 1)) / 2],
    [0, -y, 0, (y * (size[1] - 1)) / 2],
    [0, 0, z, (-z * (size[2] - 1)) / 2],
  ];
  // A rotation to first order: what sinks along z moves sideways.
  const level: Affine3 = [
    [1, 0, tilt.alongX, 0],
    [0, 1, tilt.alongY, 0],
    [-tilt.alongX, -tilt.alongY, 1, 0],
  ];
  const cos = Math.cos(turn);
  const sin = Math.sin(turn);
  const turned: Affine3 = [
    [cos, sin, 0, 0],
    [-sin, cos, 0, 0],
    [0, 0, 1, 0],
  ];
  return compose3(turned, compose3(level, middle));
}
