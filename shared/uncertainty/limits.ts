/** Limits of what the models of an edge leave, found by trials; the build and the browser use the same. */
import type { Placement } from '../artefacts/placement.ts';
import { rectangular } from './budget.ts';

/** What the fit of a Gaussian-blurred model leaves of a width, pixels either way: the spread over noise-free trials. */
export const MODEL_HALF_PX = { apart: 0.02, joint: 0.03 } as const;

/** What parallel edges in the next layers move, pixels either way: the missing cone lets them through. */
export const OVERLAID_HALF_PX = 0.12;

/** Landings of the metals above and below end close to every via's edges, pixels either way. */
export const LANDING_HALF_PX = 0.09;

/** What rounded corners add to the sizes of a via through the blur, pixels either way: falls with the fourth power. */
export const roundedCornersHalfPx = (sizePx: number, blurPx: number): number =>
  // A fifth of the blur at six blurs, falling with the fourth power: what trials with rounded corners showed.
  0.19 * blurPx * Math.min(1, (6 / (sizePx / blurPx)) ** 4);

/**
 * Relative standard uncertainty of the pixel size from that of the placement: a scale error that moves places all
 * over the field by `placementUm`, as a slope through evenly spread places has it.
 * @param extentUm side of the field: square root of its area
 */
export const relativeScale = (placementUm: number, extentUm: number): number =>
  (Math.sqrt(12) * placementUm) / extentUm;

/** Standard deviation of a stated voxel in depth, as a share of it. Common practice, no source: 5 % at most. */
export const STATED_DEPTH_SD = 0.03;

/** Relative standard uncertainty of lengths in depth; that of the stated voxel where the placement tells none. */
export const relativeDepthScale = (placement: Pick<Placement, 'depth_scale_sd'> | null): number =>
  placement?.depth_scale_sd ?? STATED_DEPTH_SD;

/** Standard uncertainty of one coordinate of a point that was set by hand on a screen pixel of this size. */
export const ofPointing = (screenPixel: number): number => rectangular(screenPixel);
