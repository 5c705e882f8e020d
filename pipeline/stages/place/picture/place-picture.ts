/**
 * Placement of a flat picture of the top: its place, orientation and scale against what light sees of the drawing.
 * Locked only where one place stands clear of every other, of every other orientation, and patch by patch.
 */
import { type Affine2, apply2, compose2 } from '../../../../shared/affine.ts';
import type { Placement } from '../../../../shared/artefacts/placement.ts';
import type { Process } from '../../../../shared/artefacts/process.ts';
import type { Box } from '../../../../shared/polygon.ts';
import type { Layout } from '../../../formats/layout.ts';
import { median } from '../../../kernels/statistics.ts';
import { ORIENTATIONS } from '../automatic/orientation.ts';
import { type GreyPicture, readGrey, SLOW_SHARE } from './grey-picture.ts';
import { pictureAngle } from './picture-angle.ts';
import { measurePatches, type PicturePatch } from './picture-patches.ts';
import { type FittedPicture, refinePicture } from './refine-picture.ts';
import { type PictureHypothesis, searchPicture } from './search-picture.ts';
import { visibleLayers } from './visible-layers.ts';

export interface PictureInput {
  /** Absolute path, and the name to say. */
  readonly file: string;
  readonly name: string;
  readonly pixelUm: number;
  readonly layout: Layout;
  readonly top: string;
  readonly layoutBoxUm: Box;
  readonly process: Process;
  /** Where the campaign says the middle lies; null where it does not. */
  readonly saidUm: Box | null;
  readonly pause: () => Promise<void>;
}

/** Pixels across the picture in the search, and most pixels of the drawing then. */
const SEARCH_ACROSS = 72;
const MOST_SIDE = 900;
const TRIED = 10;
const FINALISTS = 3;
/** The stated pixel is believed this far. */
const SCALE_LIMIT = 0.06;

/** What a locked place must show. Set by hand on few pictures and calibrated on none: on the careful side. */
const LOCK = { correlation: 0.4, agreeing: 0.7, patches: 9, rival: 0.85, aboveDecoys: 3 } as const;
const AMBIGUOUS = { correlation: 0.35, agreeing: 0.6, patches: 6 } as const;
/** A patch agrees where its own best match lies this near, pixels of the finest grid. */
const AGREE_PX = 1.5;
/** What the patches have in common and their scatter does not show, pixels of the picture. */
const COMMON_PX = 0.3;

interface Candidate {
  readonly from: PictureHypothesis;
  readonly fit: FittedPicture;
}

/** @returns the fallback with the reason among its doubts where no place fits */
export async function placePicture(input: PictureInput, fallback: Placement): Promise<Placement> {
  const { layout, top, process, layoutBoxUm: box, pause } = input;
  const picture = await readGrey(input.file, input.name);
  const nominalUm = input.pixelUm / picture.fromFile[0];
  const fieldUm = nominalUm * Math.max(picture.width, picture.height);
  const reachUm = (nominalUm * Math.hypot(picture.width, picture.height)) / 2;
  const region = Math.max(box[2] - box[0], box[3] - box[1]) + 2 * reachUm;
  const pixelUm = Math.max(fieldUm / SEARCH_ACROSS, region / MOST_SIDE);
  const slowUm = SLOW_SHARE * nominalUm * Math.min(picture.width, picture.height);
  const draw = (grid: Parameters<typeof visibleLayers>[3]) =>
    visibleLayers(layout, top, process, grid, slowUm);
  if (fieldUm / pixelUm < 24)
    return refused(
      fallback,
      `The picture covers ${fieldUm.toFixed(0)} µm of ${region.toFixed(0)} µm of drawing: too little of it to be looked for. Give landmarks.`,
    );
  const whole = draw({
    origin_um: [box[0] - reachUm / 2, box[3] + reachUm / 2],
    pixel_um: pixelUm,
    width_px: Math.ceil((box[2] - box[0] + reachUm) / pixelUm) + 1,
    height_px: Math.ceil((box[3] - box[1] + reachUm) / pixelUm) + 1,
  });
  if (whole.layers.length === 0)
    return refused(fallback, 'The drawing has no metals that a picture of the top could show.');
  await pause();
  const turn = pictureAngle(picture.values, picture.width, picture.height);
  const found = await searchPicture(picture, nominalUm, turn, whole, pause);
  const tried: Candidate[] = [];
  // The best of every orientation too: what a wrong one reaches is the measure of a right one.
  const chosen = found.filter(
    (h, n) => n < TRIED || found.findIndex((other) => other.orientation === h.orientation) === n,
  );
  for (const from of chosen) {
    await pause();
    const rounds = [
      { pixelUm, blurPx: 2, steps: 5 },
      { pixelUm, blurPx: 1, steps: 5 },
    ];
    tried.push({ from, fit: refinePicture(picture, from.map, draw, rounds, slowUm) });
  }
  const ranked = distinct(picture, tried, 4 * pixelUm);
  const reached = Array.from({ length: ORIENTATIONS.length }, (_, n) =>
    Math.max(0, ...tried.filter((c) => c.from.orientation === n).map((c) => c.fit.correlation)),
  );
  const fineUm = Math.max(nominalUm, pixelUm / 3);
  const finalists: Candidate[] = [];
  for (const { from, fit } of ranked.slice(0, FINALISTS)) {
    await pause();
    const rounds = [
      { pixelUm: fineUm, blurPx: 2, steps: 6 },
      { pixelUm: fineUm, blurPx: 0.7, steps: 6 },
    ];
    finalists.push({ from, fit: refinePicture(picture, fit.map, draw, rounds, slowUm) });
  }
  const [first, ...others] = distinct(picture, finalists, 4 * pixelUm);
  if (!first) return refused(fallback, 'No place in the drawing resembles the picture.');
  return judged(input, picture, { first, others, reached, topUm: whole.topUm, nominalUm }, fallback);
}

interface Outcome {
  readonly first: Candidate;
  readonly others: readonly Candidate[];
  /** Best correlation of each orientation on the coarse level. */
  readonly reached: readonly number[];
  readonly topUm: number;
  readonly nominalUm: number;
}

function judged(
  input: PictureInput,
  picture: GreyPicture,
  { first, others, reached, topUm, nominalUm }: Outcome,
  fallback: Placement,
): Placement {
  const { fit, from } = first;
  const patches = measurePatches(fit);
  const agreeing = patches.filter(isThere).length / Math.max(1, patches.length);
  const decoys = reached.filter((_, n) => n !== from.orientation);
  const mean = decoys.reduce((sum, v) => sum + v, 0) / decoys.length;
  const spread = Math.sqrt(decoys.reduce((sum, v) => sum + (v - mean) ** 2, 0) / (decoys.length - 1));
  const aboveDecoys = (reached[from.orientation]! - mean) / Math.max(spread, 0.05 * mean);
  const rival = others[0];
  const rivalShare = rival ? rival.fit.correlation / Math.max(1e-9, fit.correlation) : 0;
  const scale = Math.sqrt(Math.abs(fit.map[0] * fit.map[4] - fit.map[1] * fit.map[3])) / nominalUm;
  const middle = apply2(fit.map, (picture.width - 1) / 2, (picture.height - 1) / 2);
  const numbers =
    `${percent(agreeing)} of ${patches.length} patches find the place by themselves, the drawing explains ` +
    `${percent(fit.correlation ** 2)} of the picture, the next best place has ${percent(rivalShare)} of its correlation, ` +
    `and it stands ${aboveDecoys.toFixed(1)} standard deviations above turned and mirrored drawings`;
  const stands = (at: { correlation: number; agreeing: number; patches: number }): boolean =>
    fit.correlation >= at.correlation && agreeing >= at.agreeing && patches.length >= at.patches;
  const isScaled = Math.abs(scale - 1) <= SCALE_LIMIT;
  if (!stands(AMBIGUOUS) || !isScaled)
    return refused(
      fallback,
      `The picture was looked for in the drawing and no place fits well enough: at the best one ${numbers}.`,
    );
  const doubts: string[] = [];
  if (rivalShare > LOCK.rival)
    doubts.push(`${rivalWords(picture, first, rival!)}: patterns that repeat look the same in many places.`);
  if (aboveDecoys < LOCK.aboveDecoys) doubts.push('Turned or mirrored, the picture fits nearly as well.');
  if (!stands(LOCK)) doubts.push(`The agreement is weak: ${numbers}.`);
  const said = input.saidUm;
  if (said && !(middle[0] >= said[0] && middle[0] <= said[2] && middle[1] >= said[1] && middle[1] <= said[3]))
    doubts.push('The best place lies farther from near_um than within_um allows.');
  const map = compose2(fit.map, picture.fromFile);
  const shifts = patches.filter(isThere).map((p) => p.shiftPx!);
  const um = fit.grid.pixel_um;
  const common = COMMON_PX * input.pixelUm;
  const scatter = (axis: 0 | 1): number =>
    Math.hypot(
      common,
      (um * 1.4826 * median(shifts.map((s) => Math.abs(s[axis])))) / Math.sqrt(shifts.length),
    );
  const lengths = Float64Array.from(shifts, (s) => um * Math.hypot(...s)).sort();
  const at = (share: number): number =>
    lengths[Math.min(lengths.length - 1, Math.floor(share * lengths.length))]!;
  return {
    ...fallback,
    ...placed(map, input.pixelUm, topUm),
    source: 'automatic',
    verdict: doubts.length === 0 ? 'locked' : 'ambiguous',
    score: Math.min(1, fit.correlation),
    runner_up: rival
      ? {
          score: Math.min(1, rival.fit.correlation),
          voxel_to_die_um: placed(compose2(rival.fit.map, picture.fromFile), input.pixelUm, topUm)
            .voxel_to_die_um,
        }
      : null,
    residual_um: { median: at(0.5), p95: at(0.95), count: lengths.length },
    uncertainty_um: { x: scatter(0), y: scatter(1), z: 0 },
    method: `Matched with the metals that the drawing shows from above: ${numbers}.`,
    doubts,
  };
}

const isThere = (patch: PicturePatch): boolean =>
  patch.shiftPx !== null && Math.hypot(...patch.shiftPx) <= AGREE_PX;

const percent = (share: number): string => `${Math.round(100 * share)} %`;

/**
 * A map of the plane as one of space: the picture lies on the highest metal that shows. Front where the picture, row 0 at
 * its top, is not mirrored.
 */
export function placed(
  [a, b, tx, c, d, ty]: Affine2,
  pixelUm: number,
  zUm: number,
): Pick<Placement, 'voxel_to_die_um' | 'seen_from' | 'order'> {
  return {
    voxel_to_die_um: [
      [a, b, 0, tx],
      [c, d, 0, ty],
      [0, 0, pixelUm, zUm],
    ],
    seen_from: a * d - b * c < 0 ? 'front' : 'back',
    order: 'unknown',
  };
}

function rivalWords(picture: GreyPicture, { fit }: Candidate, rival: Candidate): string {
  const middle = [(picture.width - 1) / 2, (picture.height - 1) / 2] as const;
  const [p, q] = [apply2(fit.map, ...middle), apply2(rival.fit.map, ...middle)];
  return `Another place, ${(q[0] - p[0]).toFixed(2)}, ${(q[1] - p[1]).toFixed(2)} µm away (x, y), has ${percent(rival.fit.correlation / fit.correlation)} of the correlation`;
}

const refused = (fallback: Placement, doubt: string): Placement => ({
  ...fallback,
  doubts: [doubt],
});

/** Best first; of those that came to the same place the best. */
function distinct(picture: GreyPicture, candidates: readonly Candidate[], apartUm: number): Candidate[] {
  const points = [
    [0, 0],
    [picture.width - 1, 0],
    [0, picture.height - 1],
  ] as const;
  const same = (a: Affine2, b: Affine2): boolean =>
    points.every(([i, j]) => {
      const [p, q] = [apply2(a, i, j), apply2(b, i, j)];
      return Math.hypot(p[0] - q[0], p[1] - q[1]) < apartUm;
    });
  const kept: Candidate[] = [];
  for (const candidate of [...candidates].sort((p, q) => q.fit.correlation - p.fit.correlation))
    if (!kept.some((other) => same(other.fit.map, candidate.fit.map))) kept.push(candidate);
  return kept;
}
