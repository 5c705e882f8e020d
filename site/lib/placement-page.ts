/** The sentences and the drawn numbers of the page that says why a placement is believed. Pure. */
import { type Affine3, compose3, invert3 } from '../../shared/affine.ts';
import type { Evidence, PeakPatch } from '../../shared/artefacts/evidence.ts';
import type { Placement } from '../../shared/artefacts/placement.ts';
import { formatFigures, formatFixed, formatLength, formatPercent, formatUm } from './numbers.ts';

const DECOYS: Readonly<Record<Evidence['decoys'][number]['kind'], string>> = {
  mirrored: 'the drawing mirrored',
  rotated: 'the drawing turned',
  shifted: 'the drawing far away',
  'shuffled-stack': 'layers exchanged',
  'reversed-stack': 'the stack upside down',
  'other-cell': 'another part of the layout',
  'runner-up': 'the runner-up',
};
export const decoyName = (kind: Evidence['decoys'][number]['kind']): string => DECOYS[kind];

/** How sure each number of the placement is, one sentence each. */
export function sureSentences(placement: Placement, pixelUm: number): string[] {
  const words: string[] = [];
  const { uncertainty_um: sd, residual_um: residual, score, runner_up: runnerUp } = placement;
  if (sd) {
    const px = (um: number): string => `${formatFigures(um / pixelUm, 2)} pixels`;
    words.push(
      `A place in the image is good to ${formatLength(sd.x, 2)} along X and ${formatLength(sd.y, 2)} along Y (${px(sd.x)} and ${px(sd.y)}): two times in three the error is smaller.`,
    );
    const { depth_scale_sd: scale } = placement;
    words.push(
      `Heights are good to ${formatLength(sd.z, 2)} in the middle of the scan.` +
        (scale === undefined
          ? ''
          : ` The vertical scale is good to ${formatPercent(scale, 1)}, which all thicknesses share.`),
    );
  } else words.push('No uncertainty was computed for this placement.');
  if (residual && residual.count > 0) {
    words.push(
      `At ${residual.count} checked places half of what remains between image and drawing is below ${formatLength(residual.median, 2)}, and 95 % is below ${formatLength(residual.p95, 2)}.`,
    );
  }
  if (score !== null && runnerUp && runnerUp.score !== null) {
    const ratio = runnerUp.score / score;
    words.push(
      `The next best place reaches ${formatFixed(runnerUp.score, 2)} where this one reaches ${formatFixed(score, 2)}: ${ratio > 0.9 ? 'nearly as good, so the two cannot be told apart' : ratio > 0.7 ? 'not far behind' : `${formatPercent(ratio)} of it`}.`,
    );
  }
  if (score !== null && !runnerUp) words.push('No second place was found that explains the image at all.');
  return words;
}

/** Turns by less than this, degrees, are no other way round: refining gives that much and less. */
const TURNED_DEG = 10;

/** How another map lays the scan on the die where it does more than shift it: turned, mirrored, upside down; else null. */
export function otherWayRound(map: Affine3, other: Affine3): string | null {
  const [x, y, z] = compose3(other, invert3(map));
  const mirrored = x[0] * y[1] - x[1] * y[0] < 0;
  const degrees = Math.round((Math.atan2(y[0], x[0]) * 180) / Math.PI);
  const words = [
    ...(mirrored
      ? ['mirrored']
      : Math.abs(degrees) > TURNED_DEG
        ? [`turned by ${formatFixed(degrees, 0)}°`]
        : []),
    ...(z[2] < 0 ? ['with the slices in the other order'] : []),
  ];
  return words.length > 0 ? words.join(', ') : null;
}

type PlaceBeside = NonNullable<NonNullable<Evidence['peak']>['runner_up']>['at'];

/** Caption of the runner-up's peak. */
export function runnerUpCaption(
  { voxel_to_die_um: map, runner_up: other }: Placement,
  at: PlaceBeside,
): string {
  const way = other && otherWayRound(map, other.voxel_to_die_um);
  return (
    `The runner-up: ${formatFixed(at.value, 2)}, ${way ? `${way}, its middle ` : ''}away by ` +
    `${formatFixed(at.dx_um, 2)} along X and ${formatUm(at.dy_um, 2)} along Y`
  );
}

/** What the decoys say, in one sentence, or null without any. */
export function decoySentence(evidence: Evidence, score: number | null): string | null {
  const wrong = evidence.decoys.filter((decoy) => decoy.kind !== 'runner-up');
  if (wrong.length === 0 || score === null) return null;
  const best = Math.max(...wrong.map((decoy) => decoy.score));
  const above = wrong.filter((decoy) => decoy.score >= score).length;
  return above > 0
    ? `${above} of ${wrong.length} places that are known to be wrong score as high as this one: the score does not tell right from wrong here.`
    : wrong.length === 1
      ? `One place that is known to be wrong was tried; it scores ${formatFixed(best, 2)}, this placement ${formatFixed(score, 2)}.`
      : `${wrong.length} places that are known to be wrong were tried; the best of them scores ${formatFixed(best, 2)}, this placement ${formatFixed(score, 2)}.`;
}

export interface Curve {
  readonly layer: string;
  /** Points of a polyline: height down the drawing, value to the right. */
  readonly points: string;
  readonly peakZ: number;
  readonly peak: number;
}

/**
 * Curves of evidence against height, in a frame of the given size.
 * @param y maps a height to the drawing
 * @param width of the frame; the largest value fills nine tenths of it
 */
export function evidenceCurves(
  layers: Evidence['layers'],
  y: (z: number) => number,
  left: number,
  width: number,
): { curves: Curve[]; zeroX: number; most: number } {
  const values = layers.flatMap((layer) => layer.value);
  const most = Math.max(0.01, ...values);
  const least = Math.min(0, ...values);
  const x = (value: number): number => left + ((value - least) / (most - least)) * width * 0.95;
  const curves = layers
    .filter((layer) => layer.value.length > 0)
    .map(({ layer, z_um, value }) => {
      const at = value.indexOf(Math.max(...value));
      return {
        layer,
        points: z_um.map((z, n) => `${x(value[n]!).toFixed(1)},${y(z).toFixed(1)}`).join(' '),
        peakZ: z_um[at]!,
        peak: value[at]!,
      };
    });
  return { curves, zeroX: x(0), most };
}

/** Greys of a patch, row by row, at a scale of values that two patches share. */
export function patchGreys(patch: PeakPatch, least: number, most: number): Uint8Array {
  const range = most > least ? most - least : 1;
  return Uint8Array.from(patch.value, (value) =>
    Math.round(255 * Math.min(1, Math.max(0, (value - least) / range))),
  );
}

export interface Arrow {
  readonly x: number;
  readonly y: number;
  readonly dx: number;
  readonly dy: number;
  readonly used: boolean;
}

/**
 * Residuals as arrows, drawn larger than life so that the median is well seen.
 * @returns the factor, a round number, and arrows in die micrometres with their vectors multiplied by it
 */
export function residualArrows(
  residuals: Evidence['residuals'],
  fieldUm: number,
): { factor: number; arrows: Arrow[] } {
  const lengths = residuals.map((one) => Math.hypot(one.dx_um, one.dy_um)).sort((a, b) => a - b);
  const typical = lengths[Math.floor(0.75 * lengths.length)] ?? 0;
  const wanted = typical > 0 ? (0.05 * fieldUm) / typical : 1;
  const power = 10 ** Math.floor(Math.log10(wanted));
  const factor = Math.max(1, [5, 2, 1].map((step) => step * power).find((step) => step <= wanted) ?? power);
  return {
    factor,
    arrows: residuals.map((one) => ({
      x: one.x_um,
      y: one.y_um,
      dx: one.dx_um * factor,
      dy: one.dy_um * factor,
      used: one.used,
    })),
  };
}
