/**
 * Affine maps in the plane and in space, row-major, without classes so that they pass between threads and into
 * JSON as they are.
 */

/** `[[a, b, c, tx], [d, e, f, ty], [g, h, i, tz]]`: the form of `voxel_to_die_um` in placement.json. */
export type Affine3 = readonly [Row4, Row4, Row4];
export type Row4 = readonly [number, number, number, number];
/** `[a, b, tx, c, d, ty]`: x' = a x + b y + tx, y' = c x + d y + ty. */
export type Affine2 = readonly [number, number, number, number, number, number];
export type Vector3 = readonly [number, number, number];

export const IDENTITY2: Affine2 = [1, 0, 0, 0, 1, 0];
export const IDENTITY3: Affine3 = [
  [1, 0, 0, 0],
  [0, 1, 0, 0],
  [0, 0, 1, 0],
];

/** The map "first b, then a". */
export function compose2(a: Affine2, b: Affine2): Affine2 {
  return [
    a[0] * b[0] + a[1] * b[3],
    a[0] * b[1] + a[1] * b[4],
    a[0] * b[2] + a[1] * b[5] + a[2],
    a[3] * b[0] + a[4] * b[3],
    a[3] * b[1] + a[4] * b[4],
    a[3] * b[2] + a[4] * b[5] + a[5],
  ];
}

export function apply2(m: Affine2, x: number, y: number): [number, number] {
  return [m[0] * x + m[1] * y + m[2], m[3] * x + m[4] * y + m[5]];
}

/** @throws RangeError when the map flattens the plane. */
export function invert2(m: Affine2): Affine2 {
  const det = m[0] * m[4] - m[1] * m[3];
  if (!(Math.abs(det) > 0)) throw new RangeError('The affine map of the plane cannot be inverted.');
  const a = m[4] / det;
  const b = -m[1] / det;
  const c = -m[3] / det;
  const d = m[0] / det;
  return [a, b, -(a * m[2] + b * m[5]), c, d, -(c * m[2] + d * m[5])];
}

export function apply3(m: Affine3, p: Vector3): [number, number, number] {
  return [
    m[0][0] * p[0] + m[0][1] * p[1] + m[0][2] * p[2] + m[0][3],
    m[1][0] * p[0] + m[1][1] * p[1] + m[1][2] * p[2] + m[1][3],
    m[2][0] * p[0] + m[2][1] * p[1] + m[2][2] * p[2] + m[2][3],
  ];
}

/** Determinant of the linear part: volume of a voxel with the sign of the handedness. */
export function determinant3(m: Affine3): number {
  const [[a, b, c], [d, e, f], [g, h, i]] = m;
  return a * (e * i - f * h) - b * (d * i - f * g) + c * (d * h - e * g);
}

/** The map "first b, then a". */
export function compose3(a: Affine3, b: Affine3): Affine3 {
  const row = (r: Row4): Row4 => [
    r[0] * b[0][0] + r[1] * b[1][0] + r[2] * b[2][0],
    r[0] * b[0][1] + r[1] * b[1][1] + r[2] * b[2][1],
    r[0] * b[0][2] + r[1] * b[1][2] + r[2] * b[2][2],
    r[0] * b[0][3] + r[1] * b[1][3] + r[2] * b[2][3] + r[3],
  ];
  return [row(a[0]), row(a[1]), row(a[2])];
}

/** @throws RangeError when the map flattens space. */
export function invert3(m: Affine3): Affine3 {
  const det = determinant3(m);
  if (!(Math.abs(det) > 0)) throw new RangeError('The affine map of space cannot be inverted.');
  const [[a, b, c, tx], [d, e, f, ty], [g, h, i, tz]] = m;
  const row = (p: number, q: number, r: number): Row4 => {
    const x = p / det;
    const y = q / det;
    const z = r / det;
    return [x, y, z, -(x * tx + y * ty + z * tz)];
  };
  return [
    row(e * i - f * h, c * h - b * i, b * f - c * e),
    row(f * g - d * i, a * i - c * g, c * d - a * f),
    row(d * h - e * g, b * g - a * h, a * e - b * d),
  ];
}
