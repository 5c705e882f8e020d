/** The sentences that go with a fit: why this model, and what to doubt. */
import type { CentredPoints, ModelFit } from './affine-fit-models.ts';
import type { Outlier } from './affine-fit-outliers.ts';
import type { Certainty } from './affine-fit-statistics.ts';
import {
  type ControlPoint,
  type FitModel,
  type LandmarkFit,
  type LandmarkOptions,
  PARAMETERS,
} from './affine-fit-types.ts';

/** A model with what speaks for and against it. */
export interface Candidate {
  readonly fit: ModelFit;
  readonly certainty: Certainty | null;
  readonly aicc: number;
  /** Largest relative uncertainty of a voxel step; infinite where a parameter is free. */
  readonly stepUncertainty: number;
  /** Why the landmarks do not carry the model; null where they do. */
  readonly lacks: 'landmarks' | 'spread' | null;
}

const NAMES: Record<FitModel, string> = {
  rigid: 'rotation and shift with the stated voxel size',
  similarity: 'rotation, shift and one common scale',
  uniaxial: 'rotation, shift, one scale within the slice and one across slices',
  triaxial: 'rotation, shift and three scales',
  affine: 'a full affine map',
};

/** Scales that differ by more than this from the stated voxel size are worth a look. Common practice, no source. */
const SCALE_OFF = 0.05;
/** Above this relative uncertainty of a voxel step the tilt of the map is loose. */
const LOOSE = 0.05;

const percent = (share: number): string =>
  share < 1 ? `${Number((100 * share).toPrecision(2))} %` : 'its whole length or more';

/** One sentence: the model, how it compares with the others, and what keeps larger ones out. */
export function whyThisModel(
  points: readonly ControlPoint[],
  candidates: readonly Candidate[],
  chosen: Candidate,
): string {
  const said = [`${sentenceCase(NAMES[chosen.fit.model])} (${PARAMETERS[chosen.fit.model]} parameters)`];
  const at = candidates.indexOf(chosen);
  const carried = candidates.filter((candidate, n) => n === 0 || candidate.lacks === null);
  const smaller = carried.filter((candidate) => candidates.indexOf(candidate) < at);
  const larger = carried.filter((candidate) => candidates.indexOf(candidate) > at);
  if (smaller.length > 0) {
    const gain = Math.min(...smaller.map((candidate) => candidate.aicc)) - chosen.aicc;
    said.push(`smaller maps describe the landmarks worse (AICc higher by ${gain.toPrecision(2)})`);
  }
  if (larger.length > 0)
    said.push('larger maps that the landmarks carry do not describe them better by AICc');
  const out = candidates.find((candidate, n) => n > at && candidate.lacks !== null);
  if (out) said.push(whyNot(points, out));
  return said.length === 1 ? `${said[0]}.` : `${said[0]}: ${said.slice(1).join(', and ')}.`;
}

function whyNot(points: readonly ControlPoint[], { fit, lacks, stepUncertainty }: Candidate): string {
  const name = NAMES[fit.model];
  if (lacks === 'landmarks') return `${points.length} landmarks are too few for ${name}`;
  const slices = points.map(({ voxel }) => voxel[2]);
  if (Math.max(...slices) - Math.min(...slices) < 1)
    return `all landmarks lie at one height, which leaves the depth scale of ${name} open`;
  const unsure = percent(stepUncertainty);
  return `the landmarks are not spread enough for ${name} (a voxel step would be unsure by ${unsure})`;
}

const sentenceCase = (text: string): string => text.charAt(0).toUpperCase() + text.slice(1);

const VIEW_WORDS = {
  front: 'seen from the front',
  back: 'seen from the back',
  'top-first': 'top slice first',
  'bottom-first': 'bottom slice first',
} as const;

export function viewDoubts(
  from: LandmarkFit['handednessFrom'],
  seenFrom: LandmarkFit['seenFrom'],
  order: LandmarkFit['order'],
  options: LandmarkOptions,
): string[] {
  const doubts: string[] = [];
  if (from === 'assumption')
    doubts.push(
      'The landmarks lie in one plane and fit a map and its mirror image equally well; ' +
        `${VIEW_WORDS[seenFrom]}, ${VIEW_WORDS[order]} was assumed. State order and seen_from, or add a landmark at another height.`,
    );
  const against = [
    [options.seenFrom, seenFrom],
    [options.order, order],
  ] as const;
  for (const [stated, found] of against)
    if (stated && stated !== 'auto' && stated !== found)
      doubts.push(`The landmarks say ${VIEW_WORDS[found]}, the campaign says ${VIEW_WORDS[stated]}.`);
  return doubts;
}

export function scaleDoubts(
  points: CentredPoints,
  fit: ModelFit,
  candidates: readonly Candidate[],
  options: LandmarkOptions,
): string[] {
  const doubts: string[] = [];
  const uniaxial = candidates.find((candidate) => candidate.fit.model === 'uniaxial');
  if (fit.model === 'similarity' && uniaxial?.lacks)
    doubts.push(
      options.voxelUm
        ? 'The landmarks do not measure the depth scale: it was taken to be off by the same factor as the scale within the slice.'
        : 'The landmarks do not measure the depth scale and no voxel size is stated: the step between slices was taken to equal the pixel.',
    );
  const { stepUncertainty } = candidates.find((candidate) => candidate.fit === fit)!;
  if (stepUncertainty > LOOSE)
    doubts.push(
      `The landmarks leave the direction of a voxel step unsure by ${percent(stepUncertainty)}: set them farther apart, not along a line.`,
    );
  if (options.voxelUm) {
    const off = [0, 1, 2].map((axis) => Math.hypot(...fit.linear.getColumn(axis)) - 1);
    const worst = off.reduce((a, b) => (Math.abs(b) > Math.abs(a) ? b : a));
    if (Math.abs(worst) > SCALE_OFF)
      doubts.push(
        `By the landmarks a voxel measures ${off.map((o, axis) => (1000 * points.step[axis]! * (1 + o)).toPrecision(4)).join(' x ')} nm, ` +
          `up to ${Number((100 * Math.abs(worst)).toPrecision(2))} % off the stated ${points.step.map((step) => (1000 * step).toPrecision(4)).join(' x ')} nm.`,
      );
  }
  return doubts;
}

export function lineDoubts(
  points: readonly ControlPoint[],
  outliers: readonly Outlier[],
  file: string | undefined,
): string[] {
  return outliers.map(({ index, offUm, sigmas }) => {
    const label = points[index]!.label ?? `landmark ${index + 1}`;
    const place = file ? `${file}, ${label}` : sentenceCase(label);
    const off = `${offUm.toPrecision(3)} µm`;
    return `${place}: ${off} from where the other landmarks put it, ${sigmas.toFixed(1)} times their scatter. It was kept; look at it again.`;
  });
}
