/** The uncertainty of one reading: contributions in the unit of its value, as the build states them for many. */
import type { Contribution } from '../../../shared/uncertainty/budget.ts';
import { combine, coverageFactor, rectangular } from '../../../shared/uncertainty/budget.ts';
import { MODEL_HALF_PX, OVERLAID_HALF_PX, ofPointing } from '../../../shared/uncertainty/limits.ts';

export interface Stated {
  readonly value: number;
  readonly expanded: number;
  readonly budget: readonly Contribution[];
}

export function stated(value: number, budget: readonly Contribution[]): Stated {
  const { u, dof } = combine(budget);
  return { value, expanded: coverageFactor(dof) * u, budget };
}

/** What a reading is scaled by, and how well that is known. */
export interface ScaleKnown {
  readonly pixelUm: number;
  /** Relative standard uncertainty of the pixel size. */
  readonly relative: number;
}

export const fromScale = (value: number, { relative }: ScaleKnown, power = 1): Contribution => ({
  ...{ name: 'voxel size', kind: 'B', u: Math.abs(value) * relative * power, dof: null },
  how: 'Relative uncertainty of the pixel size from the placement.',
});

export const fromNoise = (u: number, dof: number | null): Contribution => ({
  ...{ name: 'noise', kind: 'A', u, dof },
  how: 'Noise of the profile, told from the scan lines that were averaged, carried through the fit.',
});

export const fromBlur = (u: number): Contribution => ({
  ...{ name: 'blur', kind: 'A', u, dof: null },
  how: 'Uncertainty of the blur of the scan times the sensitivity of the fit.',
});

/** Limits of the edge model and of what shines through from the layers above and below, micrometres of width. */
export const fromModel = (way: 'apart' | 'joint', pixelUm: number, stacked: boolean): Contribution[] => [
  {
    ...{ name: 'edge threshold', kind: 'B', u: rectangular(MODEL_HALF_PX[way]) * pixelUm, dof: null },
    how: 'Half height between plateaus of second order; limits from noise-free trials, rectangular.',
  },
  ...(stacked
    ? [
        {
          ...{ name: 'neighbouring layers', kind: 'B' as const, u: rectangular(OVERLAID_HALF_PX) * pixelUm },
          ...{ dof: null },
          how: 'Edges of the next layers may run along; limits from trials of the build, rectangular.',
        },
      ]
    : []),
];

/** A span measured at an angle is longer by the cosine. */
export const fromAngle = (value: number, askewU: number): Contribution => ({
  ...{ name: 'angle of the path', kind: 'B', u: (Math.abs(value) * askewU ** 2) / Math.SQRT2, dof: null },
  how: 'The path is turned square to the edges; what is left of the angle lengthens the span by its cosine.',
});

/** @param count coordinates that enter with sensitivity one */
export const fromPointing = (pointUm: number, count: number): Contribution => ({
  ...{ name: 'pointing', kind: 'B', u: Math.sqrt(count) * ofPointing(pointUm), dof: null },
  how: 'A point is set to one screen pixel or one image pixel, whichever is larger, either way; rectangular.',
});
