/** The slow bending of a scan that no affine map holds: displacements in the die frame on a coarse grid. */
import type { Warp } from './artefacts/placement.ts';

/**
 * Displacement at a place of the die, linear between the points of the grid, held beyond its border.
 * @returns micrometres along x, y and z
 */
export function displacementAt(warp: Warp, xUm: number, yUm: number): [number, number, number] {
  const [rows, columns] = warp.shape;
  const u = clamp((xUm - warp.origin_um[0]) / warp.step_um, columns - 1);
  const v = clamp((yUm - warp.origin_um[1]) / warp.step_um, rows - 1);
  const c = Math.min(Math.floor(u), Math.max(0, columns - 2));
  const r = Math.min(Math.floor(v), Math.max(0, rows - 2));
  const [a, b] = [u - c, v - r];
  const right = columns > 1 ? 1 : 0;
  const up = rows > 1 ? columns : 0;
  const p = r * columns + c;
  const value = (of: readonly number[]): number =>
    (of[p]! * (1 - a) + of[p + right]! * a) * (1 - b) + (of[p + up]! * (1 - a) + of[p + up + right]! * a) * b;
  return [value(warp.dx_um), value(warp.dy_um), value(warp.dz_um)];
}

/** Where the affine map alone puts what truly lies at this place: the displacement undone. */
export function withoutWarp(warp: Warp, xUm: number, yUm: number, zUm: number): [number, number, number] {
  let [dx, dy, dz] = displacementAt(warp, xUm, yUm);
  // Displacements are slow, so one more look from where the point came is exact enough.
  [dx, dy, dz] = displacementAt(warp, xUm - dx, yUm - dy);
  return [xUm - dx, yUm - dy, zUm - dz];
}

const clamp = (value: number, most: number): number => Math.min(most, Math.max(0, value));
