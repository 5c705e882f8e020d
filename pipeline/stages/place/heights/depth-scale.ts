/** The depth of a placement by the heights that were measured: where its zero and its scale must be for these. */
import type { Affine3 } from '../../../../shared/affine.ts';
import { throughFilms } from '../automatic/settle/depth-fit.ts';
import type { PlatePlan } from '../plan-plates.ts';
import type { Ladder } from './levels.ts';

export interface Redepthed {
  readonly voxelToDieUm: Affine3;
  readonly plan: PlatePlan;
  /** Height in the corrected die frame of one in the old. */
  readonly height: (zUm: number) => number;
  /** Standard deviation of the height in the middle of the scan, micrometres. */
  readonly sdUm: number;
  /** Of the corrected scale, relative: what all thicknesses have in common. */
  readonly scaleSd: number;
  /** Of a corrected height as such: what all heights of the scan have in common, zero and scale of the depth. */
  readonly commonSd: (zUm: number) => number;
}

export interface DepthScaleInput {
  readonly voxelToDieUm: Affine3;
  readonly plan: PlatePlan;
  /** Stated distance of the slices, micrometres. */
  readonly sliceUm: number;
  readonly ladder: Ladder;
  readonly heightsUm: ArrayLike<number>;
  readonly sdUm: ArrayLike<number>;
  /** Layers of the table that the image shows. */
  readonly shown: readonly number[];
}

/** Faces of the layers that show, against the table; films differ from it one by one, the stated voxel as a whole. */
export function redepth(input: DepthScaleInput): Redepthed | null {
  const { voxelToDieUm: map, plan, ladder, heightsUm, sdUm, shown } = input;
  const levels = [...new Set(shown.flatMap((layer) => [ladder.bottom[layer]!, ladder.top[layer]!]))].sort(
    (a, b) => a - b,
  );
  if (levels.length < 3) return null;
  const about = (plan.zUm[0]! + plan.zUm.at(-1)!) / 2;
  const {
    place,
    alongZ,
    sdUm: sd,
    covariance: [ofPlace, ofBoth, ofSlope],
  } = throughFilms(
    levels.map((n) => ladder.nominalUm[n]!),
    levels.map((n) => heightsUm[n]! - ladder.nominalUm[n]!),
    levels.map((n) => sdUm[n]! ** 2),
    {
      levelsUm: [...new Set([0, ...ladder.nominalUm])].sort((a, b) => a - b),
      aboutUm: about,
      stretch: Math.hypot(map[0][2], map[1][2], map[2][2]) / input.sliceUm,
    },
  );
  const height = (z: number): number => z - place - alongZ * (z - about);
  // Law of propagation of uncertainty for place + slope * distance. @source JCGM 100:2008, formula (13).
  const commonSd = (z: number): number => {
    const away = z - about;
    return Math.sqrt(Math.max(0, ofPlace + 2 * ofBoth * away + ofSlope * away * away));
  };
  const [g, h, i, t] = map[2];
  const share = 1 - alongZ;
  return {
    voxelToDieUm: [map[0], map[1], [share * g, share * h, share * i, share * t + alongZ * about - place]],
    plan: { ...plan, stepUm: plan.stepUm * share, zUm: plan.zUm.map(height) },
    ...{ height, sdUm: sd, scaleSd: Math.sqrt(ofSlope) / share, commonSd },
  };
}
