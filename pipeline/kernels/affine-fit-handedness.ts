/** Whether a map from voxels to the die turns or mirrors, and what that says about how the scan was taken. */
import { determinant, SVD } from 'ml-matrix';
import type { Affine3 } from '../../shared/affine.ts';
import { type CentredPoints, fitModel } from './affine-fit-models.ts';
import {
  FIT_MODELS,
  type FitModel,
  type Handedness,
  PARAMETERS,
  type SeenFrom,
  type SliceOrder,
} from './affine-fit-types.ts';

/** How many times likelier one handedness must be than a depth of zero before the points are said to decide. */
const DECISIVE = 1000;
/** A spread estimated from fewer degrees of freedom is not used. */
const LEAST_FREEDOM = 3;

/**
 * Front where the picture, row 0 at its top, is seen unmirrored from +Z: the map of (i, -j) to (x, y) keeps the sense
 * of turning. Back where it is mirrored.
 */
export function seenFromOf(map: Affine3): SeenFrom {
  const [[a, b], [d, e]] = map;
  return a * -e - -b * d < 0 ? 'back' : 'front';
}

/** Top first where z falls as the slice number grows. */
export const orderOf = (map: Affine3): SliceOrder => (map[2][2] < 0 ? 'top-first' : 'bottom-first');

/**
 * Handedness as the points alone decide it, null where they do not: points in one plane fit a map and its mirror image
 * equally well. Decided by the displacement across the best plane through the voxels, free of any model of the scales:
 * the sign of its slope against the same displacement in the die, tested against the scatter of the best fit.
 *
 * @param smallest smallest model to take the scatter from.
 * @param floorUm scatter is not taken below this.
 * @source Likelihood ratio of a normal regression slope against none: (1 + t^2 / f)^(f / 2) for f degrees of freedom.
 */
export function handednessOf(points: CentredPoints, smallest: FitModel, floorUm: number): Handedness | null {
  const axes = new SVD(points.from).rightSingularVectors;
  const scores = points.from.mmul(axes);
  const slopes = points.to.transpose().mmul(scores);
  const squares = [0, 1, 2].map((axis) =>
    scores.getColumn(axis).reduce((sum, value) => sum + value * value, 0),
  );
  const first = slopes.getColumn(0);
  const second = slopes.getColumn(1);
  const normal = [
    first[1]! * second[2]! - first[2]! * second[1]!,
    first[2]! * second[0]! - first[0]! * second[2]!,
    first[0]! * second[1]! - first[1]! * second[0]!,
  ];
  const length = Math.hypot(...normal);
  if (!(length > 0) || !(squares[2]! > 0)) return null;
  const across = slopes.getColumn(2).reduce((sum, value, axis) => sum + (value * normal[axis]!) / length, 0);
  const handedness = across * determinant(axes) < 0 ? -1 : 1;
  const { sigmaUm, freedom } = scatter(points, smallest, handedness, floorUm);
  if (freedom === 0) return null;
  const t = across / Math.sqrt(squares[2]!) / sigmaUm;
  if ((freedom / 2) * Math.log1p(t ** 2 / freedom) < Math.log(DECISIVE)) return null;
  return handedness;
}

/** Standard deviation of one coordinate in the model that leaves least. */
function scatter(
  points: CentredPoints,
  smallest: FitModel,
  handedness: Handedness,
  floorUm: number,
): { sigmaUm: number; freedom: number } {
  let best = { sigmaUm: Infinity, freedom: 0 };
  for (const model of FIT_MODELS.slice(FIT_MODELS.indexOf(smallest))) {
    const freedom = 3 * points.count - PARAMETERS[model];
    if (freedom < 1 || (freedom < LEAST_FREEDOM && best.freedom > 0)) continue;
    const sigmaUm = Math.max(Math.sqrt(fitModel(points, model, handedness).rss / freedom), floorUm);
    if (sigmaUm < best.sigmaUm) best = { sigmaUm, freedom };
  }
  return best;
}
