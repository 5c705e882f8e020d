/** How points are spread in space. */
import { Matrix, SVD } from 'ml-matrix';
import type { Vector3 } from '../../shared/affine.ts';

/**
 * Farthest distance of a point from the straight line that fits all points best, and the extent of the points along
 * that line, both in the unit of the points. At least one point.
 */
export function distanceFromLine(points: readonly Vector3[]): { widest: number; length: number } {
  const mean = [0, 1, 2].map((axis) => points.reduce((sum, p) => sum + p[axis]!, 0) / points.length);
  const centred = points.map((p) => p.map((value, axis) => value - mean[axis]!));
  const [x, y, z] = new SVD(
    new Matrix(centred).transpose().mmul(new Matrix(centred)),
  ).leftSingularVectors.getColumn(0) as [number, number, number];
  const along = centred.map((p) => p[0]! * x + p[1]! * y + p[2]! * z);
  const across = centred.map((p, n) =>
    Math.hypot(p[0]! - along[n]! * x, p[1]! - along[n]! * y, p[2]! - along[n]! * z),
  );
  return { widest: Math.max(...across), length: Math.max(...along) - Math.min(...along) };
}
