/**
 * Placement by landmarks: the least-squares map from voxel index to die micrometres, with as many parameters as the
 * landmarks can carry and no more, how sure it is, and what about the landmarks looks wrong.
 */
import type { Vector3 } from '../../shared/affine.ts';
import { STATED_DEPTH_SD } from '../../shared/uncertainty/limits.ts';
import { handednessOf, orderOf, seenFromOf } from './affine-fit-handedness.ts';
import { type CentredPoints, centre, fitModel } from './affine-fit-models.ts';
import { findOutliers } from './affine-fit-outliers.ts';
import { distanceFromLine } from './affine-fit-spread.ts';
import {
  aicc,
  certaintyOf,
  depthScaleUncertainty,
  quantile,
  uncertaintyAt,
  worstStepUncertainty,
} from './affine-fit-statistics.ts';
import {
  type ControlPoint,
  FIT_MODELS,
  type FitModel,
  type Handedness,
  type LandmarkFit,
  type LandmarkOptions,
  PARAMETERS,
} from './affine-fit-types.ts';
import { type Candidate, lineDoubts, scaleDoubts, viewDoubts, whyThisModel } from './affine-fit-words.ts';

export type { ControlPoint, FitModel, LandmarkFit, LandmarkOptions } from './affine-fit-types.ts';

/** Models closer than this in AICc are taken as equally good. @source Burnham and Anderson 2002, section 2.6. */
const EQUALLY_GOOD = 2;
/** A model is out of reach where it leaves the die vector of a voxel step less sure than this share of its length. */
const UNSURE = 0.2;
/** No landmark is set better than this share of a voxel, so no model is preferred for less. Common practice, no source. */
const FINEST_VOXELS = 1e-4;
/** Standard deviation, in voxels, of a position rounded to whole voxels; landmarks closer than it allows are not doubted. */
const ROUNDED_VOXELS = 1 / Math.sqrt(12);

/**
 * @param points at least 3, not in one line, in neither frame.
 * @throws RangeError otherwise, or for a coordinate or voxel size that is not finite.
 */
export function fitLandmarks(points: readonly ControlPoint[], options: LandmarkOptions = {}): LandmarkFit {
  checkPoints(points, options);
  const centred = centre(points, options.voxelUm);
  const smallest: FitModel = options.voxelUm ? 'rigid' : 'similarity';
  const edgeUm = voxelEdgeUm(centred);
  const floorUm = FINEST_VOXELS * edgeUm;
  const decided = handednessOf(centred, smallest, floorUm);
  const view = decided
    ? { handedness: decided, from: 'landmarks' as const }
    : chooseHandedness(centred, smallest, options);
  const candidates = FIT_MODELS.slice(FIT_MODELS.indexOf(smallest)).map((model) =>
    weigh(centred, model, view.handedness, decided !== null, floorUm),
  );
  const chosen = choose(candidates);
  const { fit } = chosen;
  const certainty = chosen.certainty;
  if (!certainty) throw new RangeError('The landmarks lie too nearly in one line to fix a map.');
  const residualsUm = points.map((_, n) => Math.hypot(...fit.residualsUm.subarray(3 * n, 3 * n + 3)));
  const seenFrom = seenFromOf(fit.voxelToDieUm);
  const order = orderOf(fit.voxelToDieUm);
  return {
    voxelToDieUm: fit.voxelToDieUm,
    model: fit.model,
    parameters: PARAMETERS[fit.model],
    why: whyThisModel(points, candidates, chosen),
    residualsUm,
    residual: { median: quantile(residualsUm, 0.5), p95: quantile(residualsUm, 0.95), count: points.length },
    uncertaintyUm: uncertaintyAt(centred, fit, certainty, options.centre ?? middleOf(points)),
    depthScaleSd: depthScaleSdOf(candidates, chosen, floorUm),
    degreesOfFreedom: certainty.degreesOfFreedom,
    seenFrom,
    order,
    handednessFrom: view.from,
    mirrorImage: decided ? null : fitModel(centred, fit.model, view.handedness === 1 ? -1 : 1).voxelToDieUm,
    doubts: [
      ...viewDoubts(view.from, seenFrom, order, options),
      ...scaleDoubts(centred, fit, candidates, options),
      ...lineDoubts(points, findOutliers(centred, fit, certainty, ROUNDED_VOXELS * edgeUm), options.file),
    ],
  };
}

function weigh(
  points: CentredPoints,
  model: FitModel,
  handedness: Handedness,
  decided: boolean,
  floorUm: number,
): Candidate {
  const fit = fitModel(points, model, handedness);
  const certainty = certaintyOf(points, fit);
  const stepUncertainty = certainty ? worstStepUncertainty(fit, certainty, floorUm) : Infinity;
  const criterion = aicc(points.count, fit, floorUm);
  const spread = stepUncertainty < UNSURE && (model !== 'affine' || decided);
  const lacks = criterion === Infinity ? 'landmarks' : spread ? null : 'spread';
  return { fit, certainty, aicc: criterion, stepUncertainty, lacks };
}

/** The smallest model among those equally good; the smallest of all needs no support, there is nothing below it. */
function choose(candidates: readonly Candidate[]): Candidate {
  const [smallest, ...larger] = candidates as [Candidate, ...Candidate[]];
  const carried = [smallest, ...larger.filter((candidate) => candidate.lacks === null)];
  const best = Math.min(...carried.map((candidate) => candidate.aicc));
  return carried.find((candidate) => candidate.aicc <= best + EQUALLY_GOOD) ?? smallest;
}

/**
 * A map that takes the depth scale from the stated voxel is as sure of it as what is stated and the landmarks are
 * together, which agree: the landmarks alone tell it in the smallest model with a depth scale of its own.
 */
function depthScaleSdOf(candidates: readonly Candidate[], chosen: Candidate, floorUm: number): number {
  const from = Math.max(candidates.indexOf(chosen), candidates.findIndex(ownDepthScale));
  const { fit, certainty } = candidates[from]!;
  const told = certainty ? depthScaleUncertainty(fit, certainty, floorUm) : Infinity;
  return ownDepthScale(chosen) ? told : 1 / Math.hypot(1 / told, 1 / STATED_DEPTH_SD);
}

const ownDepthScale = ({ fit: { model } }: Candidate): boolean => model !== 'rigid' && model !== 'similarity';

function chooseHandedness(
  points: CentredPoints,
  smallest: FitModel,
  options: LandmarkOptions,
): { handedness: Handedness; from: 'options' | 'assumption' } {
  const both = ([1, -1] as const).map((handedness) => {
    const map = fitModel(points, smallest, handedness).voxelToDieUm;
    return { handedness, seenFrom: seenFromOf(map), order: orderOf(map) };
  });
  const meets = (one: (typeof both)[number]): number =>
    Number(one.seenFrom === options.seenFrom) + Number(one.order === options.order);
  const [a, b] = both as [(typeof both)[number], (typeof both)[number]];
  if (meets(a) !== meets(b))
    return { handedness: meets(a) > meets(b) ? a.handedness : b.handedness, from: 'options' };
  const usual = (one: typeof a): number =>
    2 * Number(one.seenFrom === 'front') + Number(one.order === 'top-first');
  return { handedness: usual(a) >= usual(b) ? a.handedness : b.handedness, from: 'assumption' };
}

function checkPoints(points: readonly ControlPoint[], { voxelUm }: LandmarkOptions): void {
  if (points.length < 3) throw new RangeError(`A map needs at least 3 landmarks, not ${points.length}.`);
  const finite = points.every(({ voxel, dieUm }) => [...voxel, ...dieUm].every(Number.isFinite));
  if (!finite) throw new RangeError('A landmark has a coordinate that is not finite.');
  if (voxelUm && !voxelUm.every((step) => step > 0 && Number.isFinite(step)))
    throw new RangeError(`A voxel size must be above 0 um, not ${voxelUm.join(' x ')}.`);
  for (const frame of ['voxel', 'dieUm'] as const) {
    const { widest, length } = distanceFromLine(points.map((point) => point[frame]));
    if (!(widest > 1e-6 * length)) throw new RangeError('The landmarks lie in one line, which fixes no map.');
  }
}

/** Mean edge of a voxel by the common scale of the points. */
const voxelEdgeUm = (points: CentredPoints): number =>
  Math.sqrt(points.to.dot(points.to) / points.from.dot(points.from)) *
  Math.cbrt(points.step[0] * points.step[1] * points.step[2]);

function middleOf(points: readonly ControlPoint[]): Vector3 {
  const middle = (axis: 0 | 1 | 2): number => {
    const values = points.map(({ voxel }) => voxel[axis]);
    return (Math.min(...values) + Math.max(...values)) / 2;
  };
  return [middle(0), middle(1), middle(2)];
}
