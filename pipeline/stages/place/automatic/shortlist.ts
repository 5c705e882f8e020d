/** Places worth a close look: level, turn, search everywhere, refine roughly what is promising, rank. */
import { type Affine3, compose3 } from '../../../../shared/affine.ts';
import type { Box } from '../../../../shared/polygon.ts';
import type { AutomaticInput } from './automatic-input.ts';
import { inBox, lookBeyond } from './beyond.ts';
import { cutDrawing } from './die-view.ts';
import type { Candidate, Improvers } from './improve.ts';
import { type LayoutPictures, layoutPictures } from './layout-pictures.ts';
import { findTilt } from './levelling.ts';
import { dieFromFrame, frameFromWork, type Hypothesis } from './orientation.ts';
import { distinct, middleOf } from './places.ts';
import { findPlaneAngle } from './plane-angle.ts';
import type { RefineRound } from './refine.ts';
import { search } from './search.ts';
import type { Apart } from './top-list.ts';
import { coarser, type WorkLevel } from './work-levels.ts';
import type { WorkVolume } from './work-volume.ts';

export interface Shortlist {
  /** Places apart from each other, strongest on the coarse level first. */
  readonly ranked: readonly Candidate[];
  /** Best score of the search for each orientation, slices rising first, then falling. */
  readonly orientations: readonly number[];
  readonly pixelUm: number;
  readonly apart: Apart;
  /** The drawing as it was searched, and the scan on the level where the places were refined. */
  readonly layout: LayoutPictures;
  readonly coarse: WorkLevel;
}

/** Places of the search that are refined on the coarse level. */
const TRIED = 40;
/** Places below this share of the best one's score in the search are not refined, but for so many. */
const FAR_BEHIND = 0.6;
const LEAST_TRIED = 8;
/** Best places inside what was searched whose height, order and scale are taken for the rest of the layout. */
const LEADING = 2;
/** Places that the search brings back. */
const MOST_FOUND = 80;
const SCALES = [1, 0.967, 1.034];
/** Pixels across the field in the search. */
const SEARCH_PIXELS = 90;
/** Most pixels of the drawing that are searched. */
const MOST_PIXELS = 7e6;
const BIN_UM = 0.16;
const MOST_BINS = 64;

/** @returns null where fewer than two layers are drawn in the region */
export async function shortlist(input: AutomaticInput, improvers: Improvers): Promise<Shortlist | null> {
  const { work, stack, pause, centresUm } = input;
  const pixelUm = searchPixelUm(work, centresUm);
  const binUm = Math.max(BIN_UM, work.voxelUm[2], (work.nz * work.voxelUm[2]) / MOST_BINS);
  const frame = await levelFrame(work, pause);
  const layout = layoutPictures(stack, regionGrid(work, centresUm, pixelUm), work.slowUm);
  await pause();
  if (layout.layers.length < 2) return null;
  const apart = { planeUm: 4 * pixelUm, heightUm: 0.5 };
  const common = {
    ...{ work, frame, binUm, apart, signs: input.signs, threads: input.threads },
    ...(input.signal ? { signal: input.signal } : {}),
  };
  const { found, best: orientations } = await search({
    ...common,
    ...{ layout, centresUm, scales: SCALES, keep: MOST_FOUND },
  });
  const coarse = coarser(
    work,
    Math.max(1, Math.floor(pixelUm / work.voxelUm[0])),
    Math.max(1, Math.floor((0.6 * binUm) / work.voxelUm[2])),
  );
  const rough = (places: readonly Hypothesis[], pictures: LayoutPictures): Promise<Candidate[]> =>
    improvers.improve(
      coarse,
      places.map((hypothesis) => ({ hypothesis, start: compose3(dieFromFrame(hypothesis), frame) })),
      cutDrawing(pictures),
      roughly(pixelUm),
    );
  const tried = await rough(promising(found, input.saidUm ?? null), layout);
  const leading = distinct(work, tried, apart).slice(0, LEADING);
  const beyond = await lookBeyond(
    {
      ...common,
      ...{ stack, centresUm, layoutUm: input.layoutUm, pixelUm },
      inside: leading.map((c) => ({ ...c.hypothesis, z: middleOf(work, c.workToDie)[2] })),
    },
    (box, pixel) => regionGrid(work, box, pixel),
  );
  if (beyond) tried.push(...(await rough(beyond.found, beyond.layout)));
  return { ranked: distinct(work, tried, apart), orientations, pixelUm, apart, layout, coarse };
}

/** Work voxel to a frame that is level and along the edges of the wires. */
async function levelFrame(work: WorkVolume, pause: () => Promise<void>): Promise<Affine3> {
  const tilt = findTilt(work);
  await pause();
  const turn = findPlaneAngle(work).radians;
  await pause();
  return frameFromWork([work.nx, work.ny, work.nz], work.voxelUm, tilt, turn);
}

/** Where the campaign says where, places there are looked at even where better ones lie elsewhere. */
function promising(found: readonly Hypothesis[], said: Box | null): Hypothesis[] {
  const near = (h: Hypothesis): boolean => said !== null && inBox(said, h.x, h.y);
  return found.filter(
    (h, n) =>
      (n < TRIED && (n < LEAST_TRIED || h.score >= FAR_BEHIND * found[0]!.score)) ||
      (near(h) && n < MOST_FOUND),
  );
}

/** Pixel of the search: fine enough for the field, coarse enough for the region. */
function searchPixelUm(work: WorkVolume, centresUm: Box): number {
  const field = Math.sqrt(work.nx * work.voxelUm[0] * work.ny * work.voxelUm[1]);
  const region = (centresUm[2] - centresUm[0] + field) * (centresUm[3] - centresUm[1] + field);
  return Math.max(...work.voxelUm.slice(0, 2), field / SEARCH_PIXELS, Math.sqrt(region / MOST_PIXELS));
}

const roughly = (pixelUm: number): RefineRound[] => [
  { reachUm: 4 * pixelUm, deepUm: 0.4 },
  { reachUm: 3 * pixelUm, deepUm: 0.35 },
  { reachUm: 3 * pixelUm, deepUm: 0.3 },
];

/** Room for the whole field around every place its middle may have. */
function regionGrid(work: WorkVolume, centresUm: Box, pixelUm: number) {
  const reach = Math.hypot(work.nx * work.voxelUm[0], work.ny * work.voxelUm[1]) / 2 + 4 * pixelUm;
  const [x0, y0, x1, y1] = centresUm;
  return {
    origin_um: [x0 - reach, y1 + reach] as const,
    pixel_um: pixelUm,
    width_px: Math.ceil((x1 - x0 + 2 * reach) / pixelUm) + 1,
    height_px: Math.ceil((y1 - y0 + 2 * reach) / pixelUm) + 1,
  };
}
