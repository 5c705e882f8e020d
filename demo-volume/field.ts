/** What part of the die a scan sees. */

import { bentPoint, bentVoxel, type Distortion } from './image/distortion.ts';
import type { VoxelMap } from './image/scan-frame.ts';
import type { Box } from './layout/flatten.ts';

export interface Field {
  readonly map: VoxelMap;
  readonly shape: readonly [number, number, number];
  readonly voxelUm: readonly [number, number, number];
  readonly bend: Distortion | null;
}

/** File voxel of a die position. */
export const voxelAt = (field: Field, point: readonly [number, number, number]): [number, number, number] =>
  bentVoxel(field.map, field.bend, field.shape, point);

/** True where a die point lies in the scan, `marginUm` from its sides (not from its first and last slice). */
export function inField(field: Field, x: number, y: number, z: number, marginUm: number): boolean {
  const [i, j, k] = voxelAt(field, [x, y, z]);
  const mi = marginUm / field.voxelUm[0];
  const mj = marginUm / field.voxelUm[1];
  const [nx, ny, nz] = field.shape;
  return i >= mi && j >= mj && k >= 0 && i <= nx - 1 - mi && j <= ny - 1 - mj && k <= nz - 1;
}

/** The four corners of the field at one slice, in die micrometres, rounded to a nanometre. */
export function fieldCorners(field: Field, k: number): [number, number][] {
  const [nx, ny] = field.shape;
  const round = (v: number): number => Math.round(v * 1000) / 1000;
  return (
    [
      [-0.5, -0.5],
      [nx - 0.5, -0.5],
      [nx - 0.5, ny - 0.5],
      [-0.5, ny - 0.5],
    ] as const
  ).map(([i, j]) => {
    const [x, y] = bentPoint(field.map, field.bend, field.shape, [i, j, k]);
    return [round(x), round(y)];
  });
}

export const grown = (box: Box, by: number): Box => [box[0] - by, box[1] - by, box[2] + by, box[3] + by];

export const boxesMeet = (a: Box, b: Box): boolean =>
  a[0] <= b[2] && b[0] <= a[2] && a[1] <= b[3] && b[1] <= a[3];

export const boxRing = (b: Box): number[] => [b[0], b[1], b[2], b[1], b[2], b[3], b[0], b[3]];
