/** Seeded landmarks of a known map: any rotation, mirror, tilt, scales, noise. */

import type { ControlPoint } from '../../../pipeline/kernels/affine-fit.ts';
import { type Affine3, apply3, type Vector3 } from '../../../shared/affine.ts';

export interface Random {
  /** Uniform in 0..1. */
  readonly uniform: () => number;
  readonly normal: () => number;
}

/** @source mulberry32, a public-domain 32-bit generator by T. Ettinger; normal deviates by Box and Muller (1958). */
export function seeded(seed: number): Random {
  let state = Math.imul(seed, 0x9e3779b1) | 0;
  const uniform = (): number => {
    state = (state + 0x6d2b79f5) | 0;
    let t = Math.imul(state ^ (state >>> 15), 1 | state);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return ((t ^ (t >>> 14)) >>> 0) / 2 ** 32;
  };
  const normal = (): number => Math.sqrt(-2 * Math.log(1 - uniform())) * Math.cos(2 * Math.PI * uniform());
  return { uniform, normal };
}

type Rows = number[][];
const multiply = (a: Rows, b: Rows): Rows =>
  a.map((row) => b[0]!.map((_, m) => row.reduce((sum, value, n) => sum + value * b[n]![m]!, 0)));

/** Rotation matrix of a unit quaternion drawn evenly. @source Shoemake, "Uniform random rotations", Graphics Gems III (1992). */
export function anyRotation({ normal }: Random): Rows {
  const q = [normal(), normal(), normal(), normal()];
  const length = Math.hypot(...q);
  const [w, x, y, z] = q.map((value) => value / length) as [number, number, number, number];
  return [
    [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
    [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
    [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
  ];
}

/** Turn in the plane of the die and a small tilt out of it, as a mounted chip has. */
export function mounted({ uniform }: Random, tilt = 0.03): Rows {
  const turn = 2 * Math.PI * uniform();
  const [a, b] = [(2 * uniform() - 1) * tilt, (2 * uniform() - 1) * tilt];
  return multiply(
    multiply(
      [
        [Math.cos(turn), -Math.sin(turn), 0],
        [Math.sin(turn), Math.cos(turn), 0],
        [0, 0, 1],
      ],
      [
        [1, 0, 0],
        [0, Math.cos(a), -Math.sin(a)],
        [0, Math.sin(a), Math.cos(a)],
      ],
    ),
    [
      [Math.cos(b), 0, Math.sin(b)],
      [0, 1, 0],
      [-Math.sin(b), 0, Math.cos(b)],
    ],
  );
}

/** Signs of the die axes along i, j, k for each way a scan can be taken, before any turn. */
export const VIEWS = [
  { seenFrom: 'front', order: 'top-first', signs: [1, -1, -1] },
  { seenFrom: 'front', order: 'bottom-first', signs: [1, -1, 1] },
  { seenFrom: 'back', order: 'top-first', signs: [-1, -1, -1] },
  { seenFrom: 'back', order: 'bottom-first', signs: [-1, -1, 1] },
] as const;

/** rotation * diag(signs * voxelUm), the die position of voxel (0, 0, 0) at `shift`. */
export function mapOf(
  rotation: Rows,
  voxelUm: readonly number[],
  signs: readonly number[],
  shift: Vector3,
): Affine3 {
  const linear = rotation.map((row) => row.map((value, axis) => value * voxelUm[axis]! * signs[axis]!));
  return linear.map((row, n) => [row[0]!, row[1]!, row[2]!, shift[n]!] as const) as unknown as Affine3;
}

export interface Field {
  readonly count: number;
  /** Voxels along i, j, k that the landmarks are spread over. */
  readonly size?: Vector3;
  /** Slices to which the landmarks keep, if given. */
  readonly heights?: readonly number[];
  /** Standard deviation of x and y, and of z. */
  readonly noiseUm?: readonly [number, number];
}

export function landmarksOf(map: Affine3, random: Random, field: Field): ControlPoint[] {
  const [ni, nj, nk] = field.size ?? [1000, 1000, 150];
  const [lateral, depth] = field.noiseUm ?? [0, 0];
  return Array.from({ length: field.count }, (_, n) => {
    const k = field.heights ? field.heights[n % field.heights.length]! : random.uniform() * nk;
    const voxel: Vector3 = [random.uniform() * ni, random.uniform() * nj, k];
    const [x, y, z] = apply3(map, voxel);
    return {
      voxel,
      dieUm: [x + lateral * random.normal(), y + lateral * random.normal(), z + depth * random.normal()],
    };
  });
}
