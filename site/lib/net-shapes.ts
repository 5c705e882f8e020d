/** Shapes of a lit net as they are drawn, and where the views must stand to show them. Pure. */
import type { Box } from '../../shared/polygon.ts';
import {
  EMPTY_BOX,
  intersectBox,
  isEmptyBox,
  polygonBox,
  signedArea,
  unionBox,
} from '../../shared/polygon.ts';

/** A ring of vertices, counter-clockwise, so that shapes that overlap fill as one by the nonzero rule. */
export function ringOf(shape: readonly number[]): readonly number[] {
  if (shape.length === 4) {
    const [x0, y0, x1, y1] = shape as readonly [number, number, number, number];
    return [x0, y0, x1, y0, x1, y1, x0, y1];
  }
  if (signedArea(shape) >= 0) return shape;
  const turned: number[] = [];
  for (let n = shape.length - 2; n >= 0; n -= 2) turned.push(shape[n]!, shape[n + 1]!);
  return turned;
}

/** A rectangle's four numbers are a box already. */
export const boxOfShape = (shape: readonly number[]): Box => polygonBox(shape);

/**
 * Where to look for shapes of one layer: null where some lie in the view already, else the middle of the nearest.
 * @param view box of the view, in the unit of the shapes
 */
export function nearestOutside(
  shapes: readonly (readonly number[])[],
  view: Box,
): readonly [number, number] | null {
  const middle = [(view[0] + view[2]) / 2, (view[1] + view[3]) / 2] as const;
  let best: readonly [number, number] | null = null;
  let least = Number.POSITIVE_INFINITY;
  for (const shape of shapes) {
    const box = boxOfShape(shape);
    if (!isEmptyBox(intersectBox(box, view))) return null;
    const at = [
      Math.min(box[2], Math.max(box[0], middle[0])),
      Math.min(box[3], Math.max(box[1], middle[1])),
    ] as const;
    const away = Math.hypot(at[0] - middle[0], at[1] - middle[1]);
    if (away < least) {
      least = away;
      best = at;
    }
  }
  return best;
}

export const boxOfAll = (shapes: readonly (readonly number[])[]): Box =>
  shapes.reduce<Box>((box, shape) => unionBox(box, boxOfShape(shape)), EMPTY_BOX);
