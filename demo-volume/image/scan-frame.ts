/**
 * Where the voxels of a scan lie in the die. The true map takes [i, j, k] (column, row, slice; integers at voxel
 * centres; row 0 at the top of the picture) to die micrometres.
 */
import { type Degrees, radiansFromDegrees } from '../../shared/units.ts';

/** Three rows of [xi, xj, xk, x0]. */
export type VoxelMap = readonly [
  readonly [number, number, number, number],
  readonly [number, number, number, number],
  readonly [number, number, number, number],
];

export interface ScanPose {
  /** Voxels along i, j, k. */
  readonly shape: readonly [number, number, number];
  /** True voxel in micrometres along i, j, k. */
  readonly voxelUm: readonly [number, number, number];
  /** Die position of the middle of the volume. */
  readonly centreUm: readonly [number, number, number];
  /** Turn of the picture about the wafer normal, counter-clockwise in the die. */
  readonly rotationDeg: Degrees;
  /** Angle between the slices' normal and the wafer normal, leaning towards `tiltTowardsDeg`. */
  readonly tiltDeg: Degrees;
  readonly tiltTowardsDeg: Degrees;
  /** Slice 0 lies nearest the top metal, or nearest the silicon. */
  readonly order: 'top-first' | 'bottom-first';
  /** The picture is the mirror image of what one sees from above. */
  readonly mirrored: boolean;
}

type Matrix = readonly (readonly [number, number, number])[];

const product = (a: Matrix, b: Matrix): Matrix =>
  a.map((row) => {
    const entry = (c: 0 | 1 | 2): number =>
      row[0] * (b[0]?.[c] as number) + row[1] * (b[1]?.[c] as number) + row[2] * (b[2]?.[c] as number);
    return [entry(0), entry(1), entry(2)] as const;
  });

const aboutZ = (a: number): Matrix => [
  [Math.cos(a), -Math.sin(a), 0],
  [Math.sin(a), Math.cos(a), 0],
  [0, 0, 1],
];

const aboutY = (a: number): Matrix => [
  [Math.cos(a), 0, Math.sin(a)],
  [0, 1, 0],
  [-Math.sin(a), 0, Math.cos(a)],
];

/** The true voxel to die map of a pose, in micrometres. */
export function voxelToDie(pose: ScanPose): VoxelMap {
  const towards = radiansFromDegrees(pose.tiltTowardsDeg);
  const lean = product(product(aboutZ(towards), aboutY(radiansFromDegrees(pose.tiltDeg))), aboutZ(-towards));
  const turn = product(lean, aboutZ(radiansFromDegrees(pose.rotationDeg)));
  const [sx, sy, sz] = pose.voxelUm;
  // Rows run down the picture; slices run down into the wafer when the top comes first.
  const signed = [pose.mirrored ? -sx : sx, -sy, pose.order === 'top-first' ? -sz : sz] as const;
  const [nx, ny, nz] = pose.shape;
  const middle = [(nx - 1) / 2, (ny - 1) / 2, (nz - 1) / 2] as const;
  const rows = turn.map((row, axis) => {
    const [a, b, c] = [row[0] * signed[0], row[1] * signed[1], row[2] * signed[2]];
    const offset = (pose.centreUm[axis] as number) - a * middle[0] - b * middle[1] - c * middle[2];
    return [a, b, c, offset] as const;
  });
  return rows as unknown as VoxelMap;
}

export function mapPoint(map: VoxelMap, i: number, j: number, k: number): [number, number, number] {
  const at = (r: readonly [number, number, number, number]): number => r[0] * i + r[1] * j + r[2] * k + r[3];
  return [at(map[0]), at(map[1]), at(map[2])];
}

/** Voxel index of a die position, by Cramer's rule. */
export function invertPoint(map: VoxelMap, x: number, y: number, z: number): [number, number, number] {
  const [a, b, c] = map;
  const v = [x - a[3], y - b[3], z - c[3]] as const;
  const det3 = (m: readonly (readonly number[])[]): number => {
    const [[p, q, r], [s, t, u], [w, n, o]] = m as [number[], number[], number[]] as [
      [number, number, number],
      [number, number, number],
      [number, number, number],
    ];
    return p * (t * o - u * n) - q * (s * o - u * w) + r * (s * n - t * w);
  };
  const rows = [a, b, c].map((r) => [r[0], r[1], r[2]]);
  const whole = det3(rows);
  const solve = (column: number): number =>
    det3(rows.map((row, i) => row.map((entry, j) => (j === column ? (v[i] as number) : entry)))) / whole;
  return [solve(0), solve(1), solve(2)];
}

/**
 * Die position under pixel (i, j) where the volume meets the height z: [xi, xj, x0, yi, yj, y0]. The tilt makes the
 * slice that meets it depend on the pixel, which this takes along.
 */
export function planeAtHeight(map: VoxelMap, z: number): readonly number[] {
  const [a, b, c] = map;
  const ki = -c[0] / c[2];
  const kj = -c[1] / c[2];
  const k0 = (z - c[3]) / c[2];
  return [
    a[0] + a[2] * ki,
    a[1] + a[2] * kj,
    a[3] + a[2] * k0,
    b[0] + b[2] * ki,
    b[1] + b[2] * kj,
    b[3] + b[2] * k0,
  ];
}
