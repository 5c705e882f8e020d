/**
 * What bends the picture: a smooth warp in the plane, a slow bow in depth, and a shift of every slice of its own.
 *
 * File voxel [i, j, k] shows the die at map(i' + u(i', j'), j' + v(i', j'), k) + [0, 0, w(i', j')] with
 * i' = i + shift_k[0], j' = j + shift_k[1]. u, v (voxels) and w (micrometres) are sums of products of Legendre
 * polynomials in p = 2 i' / (nx - 1) - 1 and q = 2 j' / (ny - 1) - 1. Products of degree two and three only, so that
 * over a square field the best affine map stays the stated one.
 */
import type { Random } from '../random.ts';
import { invertPoint, mapPoint, type VoxelMap } from './scan-frame.ts';

/** [degree in p, degree in q, coefficient]. */
export type Term = readonly [number, number, number];

export interface Distortion {
  readonly warpI: readonly Term[];
  readonly warpJ: readonly Term[];
  readonly bowUm: readonly Term[];
  /** Shift of each slice in voxels; empty where there is none. */
  readonly shifts: readonly (readonly [number, number])[];
}

export interface DistortionSize {
  /** Largest displacement in the field, voxels. */
  readonly warpVoxels: number;
  /** Largest rise or fall in the field, micrometres. */
  readonly bowUm: number;
  /** Standard deviation of a slice's shift along either axis, voxels. */
  readonly jitterVoxels: number;
}

type Shape = readonly [number, number, number];

const DEGREES: readonly (readonly [number, number])[] = [
  ...([
    [2, 0],
    [1, 1],
    [0, 2],
    [3, 0],
    [2, 1],
    [1, 2],
    [0, 3],
  ] as const),
];
/** Beyond the field the polynomials are held, so that the margins do not run away. */
const HOLD = 1.1;

/** Legendre polynomials up to the third. @source DLMF 18.5.16 (table). */
function legendre(degree: number, x: number): number {
  if (degree === 0) return 1;
  if (degree === 1) return x;
  return degree === 2 ? (3 * x * x - 1) / 2 : (5 * x * x * x - 3 * x) / 2;
}

export function evaluate(terms: readonly Term[], shape: Shape, i: number, j: number): number {
  const hold = (v: number): number => Math.max(-HOLD, Math.min(HOLD, v));
  const p = hold((2 * i) / (shape[0] - 1) - 1);
  const q = hold((2 * j) / (shape[1] - 1) - 1);
  let sum = 0;
  for (const [a, b, c] of terms) sum += c * legendre(a, p) * legendre(b, q);
  return sum;
}

const SAMPLES = 33;

/** Scales random terms so that the largest value over the field is `size`. */
function scaled(lists: readonly (readonly Term[])[], size: number): Term[][] {
  let most = 0;
  for (let a = 0; a < SAMPLES; a++)
    for (let b = 0; b < SAMPLES; b++) {
      const at = lists.map((terms) => evaluate(terms, [SAMPLES, SAMPLES, 1], a, b));
      most = Math.max(most, Math.hypot(...at));
    }
  return lists.map((terms) => terms.map(([a, b, c]) => [a, b, (c * size) / most] as const));
}

/** Null where nothing is bent. */
export function drawDistortion(size: DistortionSize, shape: Shape, random: Random): Distortion | null {
  if (size.warpVoxels === 0 && size.bowUm === 0 && size.jitterVoxels === 0) return null;
  // The third degree is weaker than the second, as in anything slow.
  const terms = (): Term[] => DEGREES.map(([a, b]) => [a, b, random.normal() / (a + b === 3 ? 2 : 1)]);
  const [warpI, warpJ] = scaled([terms(), terms()], size.warpVoxels) as [Term[], Term[]];
  const [bowUm] = scaled([terms()], size.bowUm) as [Term[]];
  const shifts = Array.from(
    { length: size.jitterVoxels === 0 ? 0 : shape[2] },
    () => [size.jitterVoxels * random.normal(), size.jitterVoxels * random.normal()] as const,
  );
  const none = (list: Term[], amount: number): Term[] => (amount === 0 ? [] : list);
  return {
    warpI: none(warpI, size.warpVoxels),
    warpJ: none(warpJ, size.warpVoxels),
    bowUm: none(bowUm, size.bowUm),
    shifts,
  };
}

/** Die position of a file voxel. */
export function bentPoint(
  map: VoxelMap,
  bend: Distortion | null,
  shape: Shape,
  [i, j, k]: readonly [number, number, number],
): [number, number, number] {
  if (!bend) return mapPoint(map, i, j, k);
  const [di, dj] = bend.shifts[Math.max(0, Math.min(shape[2] - 1, Math.round(k)))] ?? [0, 0];
  const [a, b] = [i + di, j + dj];
  const [x, y, z] = mapPoint(
    map,
    a + evaluate(bend.warpI, shape, a, b),
    b + evaluate(bend.warpJ, shape, a, b),
    k,
  );
  return [x, y, z + evaluate(bend.bowUm, shape, a, b)];
}

/** File voxel of a die position, by fixed-point iteration; the displacements are slow, so few rounds do. */
export function bentVoxel(
  map: VoxelMap,
  bend: Distortion | null,
  shape: Shape,
  point: readonly [number, number, number],
): [number, number, number] {
  const [x, y, z] = point;
  const voxel = invertPoint(map, x, y, z);
  for (let round = 0; bend && round < 8; round++) {
    const at = bentPoint(map, bend, shape, voxel);
    const wrong = invertPoint(map, at[0], at[1], at[2]);
    const aim = invertPoint(map, x, y, z);
    for (const axis of [0, 1, 2] as const) voxel[axis] += aim[axis] - wrong[axis];
  }
  return voxel;
}

/** Displacement in die micrometres of every pixel of the transformed grid, without the shifts of the slices. */
export interface BentPlanes {
  /** Along x and y where the pixel meets a fixed height. */
  readonly x: Float32Array;
  readonly y: Float32Array;
  /** Height within a fixed slice. */
  readonly z: Float32Array;
  readonly mostZ: number;
}

export function bentPlanes(
  map: VoxelMap,
  bend: Distortion | null,
  shape: Shape,
  grid: Shape,
  origin: Shape,
): BentPlanes | null {
  if (!bend || (bend.warpI.length === 0 && bend.bowUm.length === 0)) return null;
  const [nx, ny] = grid;
  const out = { x: new Float32Array(nx * ny), y: new Float32Array(nx * ny), z: new Float32Array(nx * ny) };
  const [[ai, aj, ak], [bi, bj, bk], [ci, cj, ck]] = map;
  let mostZ = 0;
  for (let row = 0; row < ny; row++)
    for (let column = 0; column < nx; column++) {
      const [i, j] = [column - origin[0], row - origin[1]];
      const u = evaluate(bend.warpI, shape, i, j);
      const v = evaluate(bend.warpJ, shape, i, j);
      const z = ci * u + cj * v + evaluate(bend.bowUm, shape, i, j);
      const at = row * nx + column;
      // At a fixed height the slice makes up for what the bend lifts.
      out.x[at] = ai * u + aj * v - (ak / ck) * z;
      out.y[at] = bi * u + bj * v - (bk / ck) * z;
      out.z[at] = z;
      mostZ = Math.max(mostZ, Math.abs(z));
    }
  return { ...out, mostZ };
}
