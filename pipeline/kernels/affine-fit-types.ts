/** What goes into a fit by landmarks and what comes out. */
import type { Affine3, Vector3 } from '../../shared/affine.ts';

/** Smallest first. */
export const FIT_MODELS = ['rigid', 'similarity', 'uniaxial', 'triaxial', 'affine'] as const;
export type FitModel = (typeof FIT_MODELS)[number];

/** Free numbers of each model: 3 for the shift, 3 for the rotation, the rest scales (and shears). */
export const PARAMETERS: Record<FitModel, number> = {
  rigid: 6,
  similarity: 7,
  uniaxial: 8,
  triaxial: 9,
  affine: 12,
};

/** +1 where voxel axes (i, j, k) turn into the die frame by rotation alone, -1 where a mirror is needed too. */
export type Handedness = 1 | -1;

export interface ControlPoint {
  readonly voxel: Vector3;
  readonly dieUm: Vector3;
  /** How to name the point to a person: "line 7 (north-west pad)". */
  readonly label?: string;
}

export type SeenFrom = 'front' | 'back';
export type SliceOrder = 'top-first' | 'bottom-first';

export interface LandmarkOptions {
  /** Stated length of one voxel step along i, j, k; without it a rigid map is out of reach. */
  readonly voxelUm?: Vector3 | undefined;
  /** Decides, where the landmarks cannot, between a map and its mirror image. */
  readonly order?: SliceOrder | 'auto' | undefined;
  readonly seenFrom?: SeenFrom | 'auto' | undefined;
  /** Voxel index at which the uncertainty is stated; the middle of the landmarks' field where left out. */
  readonly centre?: Vector3 | undefined;
  /** File of the landmarks, for the doubts. */
  readonly file?: string | undefined;
}

export interface LandmarkFit {
  readonly voxelToDieUm: Affine3;
  readonly model: FitModel;
  readonly parameters: number;
  /** Why this model: one plain sentence. */
  readonly why: string;
  /** Distance between stated and mapped position, per landmark. */
  readonly residualsUm: number[];
  readonly residual: { readonly median: number; readonly p95: number; readonly count: number };
  /** Standard uncertainties of the mapped position at the centre. */
  readonly uncertaintyUm: { readonly x: number; readonly y: number; readonly z: number };
  /** Relative standard uncertainty of a length in depth. */
  readonly depthScaleSd: number;
  /** Degrees of freedom behind the uncertainties of x and y, and of z. */
  readonly degreesOfFreedom: { readonly lateral: number; readonly depth: number };
  readonly seenFrom: SeenFrom;
  readonly order: SliceOrder;
  /** What told the map from its mirror image: the landmarks, the options, or nothing (front, then top first). */
  readonly handednessFrom: 'landmarks' | 'options' | 'assumption';
  /** The mirror image that fits equally well, where the landmarks do not decide. */
  readonly mirrorImage: Affine3 | null;
  readonly doubts: string[];
}
