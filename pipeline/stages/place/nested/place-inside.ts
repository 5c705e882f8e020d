/** Placement of a fine scan that lies in an overview: by the drawing, and by the overview's own image. */

import { type Affine3, compose3, invert3 } from '../../../../shared/affine.ts';
import type { CampaignScan } from '../../../../shared/artefacts/campaign.ts';
import type { Placement } from '../../../../shared/artefacts/placement.ts';
import type { VolumeSource } from '../../../formats/volume.ts';
import { orderOf, seenFromOf } from '../../../kernels/affine-fit-handedness.ts';
import { exactDrawing } from '../automatic/die-view.ts';
import type { DrawnStack } from '../automatic/drawing.ts';
import { type AutomaticResult, placeAutomatically } from '../automatic/place-automatic.ts';
import { middleOf } from '../automatic/places.ts';
import { type Refined, refine } from '../automatic/refine.ts';
import { coarser } from '../automatic/work-levels.ts';
import { makeWorkVolume, type WorkVolume, workFromFile } from '../automatic/work-volume.ts';
import { ladderOf } from '../heights/levels.ts';
import {
  drawnStack,
  HINT_UM,
  type ImageAndDrawing,
  type PlacedByImage,
  placeByImage,
  widened,
  workVolumeOf,
} from '../place-by-image.ts';
import { centresInside, footprintBox, hinted, type Overview } from './overview.ts';
import { overviewStack } from './overview-stack.ts';

/** Least score and share of agreeing patches at which an image has a say. */
const HAS_A_SAY = { score: 0.3, agreeing: 0.6, patches: 9 } as const;
/** Two places are one when they lie this near, voxels of the overview. */
const ONE_PLACE_VOXELS = 2.5;
/** Pixels of the fine scan need not be much smaller than those of the overview. */
const FINER = 0.6;

export interface InsideInput extends ImageAndDrawing {
  readonly overview: Overview;
  readonly overviewSource: VolumeSource;
}

export async function placeInside(input: InsideInput, fallback: Placement): Promise<PlacedByImage> {
  const { overview, survey, scan } = input;
  const { placement: wide, title } = overview;
  if (wide.source === 'none' || wide.verdict !== 'locked') {
    const own = await placeByImage(input, fallback);
    const doubt = `It lies in "${title}", which is not locked itself: nothing was taken from there.`;
    return { ...own, placement: withDoubt(own.placement, doubt) };
  }
  const fieldUm = Math.max(survey.shape.nx * survey.voxel_nm.x, survey.shape.ny * survey.voxel_nm.y) / 1000;
  const centres = centresInside(overview, fieldUm);
  const own = await placeByImage({ ...input, scan: hinted(scan, centres) }, fallback);
  const fine = await workVolumeOf(input);
  const work = await overviewWork(input);
  const stack = overviewStack(overview, work, input.process);
  const level = coarser(fine, Math.max(1, Math.floor((FINER * work.voxelUm[0]) / fine.voxelUm[0])), 1);
  const toWork = (map: Affine3): Affine3 => compose3(map, invert3(workFromFile(fine.binning)));
  const apartUm = ONE_PLACE_VOXELS * work.voxelUm[0];

  if (own.placement.verdict === 'locked') {
    const here = toWork(own.placement.voxel_to_die_um);
    const seen = await nearby(compose3(here, level.toFinest), level.work, stack, input);
    const off = shiftOf(level.work, compose3(here, level.toFinest), seen.workToDie);
    if (stands(seen) && off <= apartUm)
      return said(own, `The image of "${title}" shows the same at this place (${nm(off)} nm off).`);
  }
  const result = await placeAutomatically({
    // All there is to look at is the overview.
    layoutUm: footprintBox(overview),
    ...{ work: level.work, stack, centresUm: centres, saidUm: centres, signs: [1, -1] },
    ...{ threads: input.threads, pause: input.pause },
    allowed: (map) => asCampaignSays(scan, map),
    ...(input.signal ? { signal: input.signal } : {}),
  });
  const through = result.best && compose3(result.best.workToDie, level.fromFinest);
  if (!through || result.verdict !== 'locked') return withoutOverview(own, title, result);
  if (own.placement.source === 'automatic') {
    const off = shiftOf(fine, toWork(own.placement.voxel_to_die_um), through);
    if (own.placement.verdict === 'locked') {
      if (off <= apartUm)
        return said(own, `The image of "${title}" leads to the same place (${nm(off)} nm off).`);
      return doubted(
        own,
        `The image of "${title}" puts the scan ${off.toFixed(2)} µm from where the drawing puts it.`,
      );
    }
  }
  return throughOverview(input, fallback, { fine, through, title, result });
}

interface Found {
  readonly fine: WorkVolume;
  /** Work voxel to die, as the overview's image gives it. */
  readonly through: Affine3;
  readonly title: string;
  readonly result: AutomaticResult;
}

/** The drawing has the last word on where exactly: near the place that the overview gives, and nowhere else. */
async function throughOverview(
  input: InsideInput,
  fallback: Placement,
  { fine, through, title, result }: Found,
): Promise<PlacedByImage> {
  const stack = drawnStack(input.process, input.layout, input.top);
  const drawing = exactDrawing(stack, fine.voxelUm[0], fine.slowUm);
  const reach = [8, 5, 5].map((voxels) => ({ reachUm: voxels * fine.voxelUm[0], deepUm: 0.3 }));
  const finish = {
    drawing,
    bendRounds: 2,
    levelsUm: [...new Set([0, ...ladderOf(stack.layers).nominalUm])].sort((a, b) => a - b),
  };
  const tried: Refined[] = [];
  for (const sign of signsOf(input))
    tried.push(await refine(fine, through, sign, drawing, reach, input.pause, finish));
  const best = tried.sort((p, q) => q.strength - p.strength)[0]!;
  const overviewUm = ONE_PLACE_VOXELS * (input.overview.survey.voxel_nm.x / 1000);
  const off = shiftOf(fine, through, best.workToDie);
  const asHinted = isAsHinted(input.scan, fine, best.workToDie);
  const agrees = stands(best) && off <= Math.max(overviewUm, 4 * fine.voxelUm[0]);
  const map = compose3(agrees ? best.workToDie : through, workFromFile(fine.binning));
  const share = `${Math.round(100 * result.evidence.agreeing)} % of ${result.evidence.patches} patches`;
  const placement: Placement = {
    ...fallback,
    voxel_to_die_um: [[...map[0]], [...map[1]], [...map[2]]],
    warp: agrees ? best.warp && { ...best.warp } : null,
    source: 'automatic',
    verdict: agrees && asHinted ? 'locked' : 'ambiguous',
    score: Math.min(1, Math.max(0, agrees ? best.score : result.best!.score)),
    runner_up: null,
    residual_um: null,
    uncertainty_um: agrees ? widened(best.uncertaintyUm, fine) : null,
    seen_from: seenFromOf(map),
    order: orderOf(map),
    method:
      `Found in the image of "${title}", where ${share} find the place by themselves` +
      `${agrees ? `, then matched with the drawing there (${nm(off)} nm off).` : '.'}`,
    doubts: [
      ...(agrees
        ? []
        : [`The place follows from the image of "${title}" alone: the drawing does not confirm it.`]),
      ...(asHinted ? [] : ['The place lies farther from near_um than within_um allows.']),
    ],
  };
  const shown = result.shown;
  const note = `The scan is held against the image of "${title}" here, not against the drawing.`;
  return { placement, evidence: shown && { ...shown, words: [note, ...shown.words] } };
}

/** Agreement with the overview's image near a map. */
async function nearby(
  start: Affine3,
  work: WorkVolume,
  stack: DrawnStack,
  input: InsideInput,
): Promise<Refined> {
  const drawing = exactDrawing(stack, work.voxelUm[0], work.slowUm);
  const rounds = [8, 5].map((voxels) => ({ reachUm: voxels * work.voxelUm[0], deepUm: 0.3 }));
  const tried: Refined[] = [];
  for (const sign of [1, -1] as const)
    tried.push(await refine(work, start, sign, drawing, rounds, input.pause));
  return tried.sort((p, q) => q.strength - p.strength)[0]!;
}

function stands({ score, agreement }: Refined): boolean {
  const [whole] = agreement.groups;
  return (
    score >= HAS_A_SAY.score &&
    whole !== undefined &&
    whole.patches >= HAS_A_SAY.patches &&
    whole.agreeing >= HAS_A_SAY.agreeing * whole.patches
  );
}

/** Distance in the plane between two maps of one volume, at its middle, micrometres. */
function shiftOf(work: WorkVolume, a: Affine3, b: Affine3): number {
  const [p, q] = [middleOf(work, a), middleOf(work, b)];
  return Math.hypot(p[0] - q[0], p[1] - q[1]);
}

const overviewWork = ({ overview, overviewSource, signal }: InsideInput): Promise<WorkVolume> => {
  const { survey, mask } = overview;
  const { x, y, z } = survey.voxel_nm;
  return makeWorkVolume(
    {
      ...{ source: overviewSource, mask, brokenSlices: survey.broken_slices },
      voxelUm: [x / 1000, y / 1000, z / 1000],
    },
    signal,
  );
};

const asCampaignSays = (scan: CampaignScan, map: Affine3): boolean =>
  (scan.order === 'auto' || orderOf(map) === scan.order) &&
  (scan.seen_from === 'auto' || seenFromOf(map) === scan.seen_from);

/** Whether the middle of the scan lies where the campaign says; true where it does not say. */
function isAsHinted(
  { near_um: near, within_um: within = HINT_UM }: CampaignScan,
  work: WorkVolume,
  map: Affine3,
) {
  const [x, y] = middleOf(work, map);
  return !near || (Math.abs(x - near[0]) <= within && Math.abs(y - near[1]) <= within);
}

const signsOf = ({ scan }: InsideInput): readonly (1 | -1)[] =>
  scan.bright === 'auto' ? [1, -1] : [scan.bright === 'dense' ? 1 : -1];

const nm = (off: number): string => (1000 * off).toFixed(0);

const withDoubt = (placement: Placement, doubt: string): Placement => ({
  ...placement,
  doubts: [...placement.doubts, doubt],
});

const said = (own: PlacedByImage, words: string): PlacedByImage => ({
  ...own,
  placement: { ...own.placement, method: `${own.placement.method} ${words}` },
});

/** A place that image and drawing dispute is not locked. */
const doubted = (own: PlacedByImage, doubt: string): PlacedByImage => ({
  ...own,
  placement: { ...withDoubt(own.placement, doubt), verdict: 'ambiguous' },
});

/** What the drawing gave, where the overview's image settles nothing: a doubt where it should have shown the place. */
function withoutOverview(own: PlacedByImage, title: string, result: AutomaticResult): PlacedByImage {
  if (result.verdict === 'ambiguous')
    return said(own, `The image of "${title}" fits in several places and settles nothing.`);
  const doubt =
    `The image of "${title}", in which the scan is said to lie, shows nothing that fits it well enough. ` +
    'Either the scan lies elsewhere, or that image is too coarse to tell.';
  return { ...own, placement: withDoubt(own.placement, doubt) };
}
