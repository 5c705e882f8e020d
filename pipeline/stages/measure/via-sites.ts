/** Vias that stand alone enough to be measured, and what they measure. */
import { type PlateGrid, pixelFromDie } from '../../../shared/frames.ts';
import { polygonBox } from '../../../shared/polygon.ts';
import { meanProfile, sampleBand } from '../../../shared/profile/band.ts';
import type { Blur } from '../../../shared/profile/edge.ts';
import { measureLine } from '../../../shared/profile/line.ts';
import { addNoise, emptyNoiseSums, type NoiseModel, noiseModel } from '../../../shared/profile/noise.ts';
import type { Sampler } from '../../../shared/profile/sampler.ts';
import { measureVia, type ViaFit } from '../../../shared/profile/via.ts';
import type { DrawnShapes } from './drawn-shapes.ts';
import { seeded } from './sites.ts';

export interface ViaSite {
  readonly centre: readonly [number, number];
  readonly centreUm: readonly [number, number];
  readonly widthPx: number;
  readonly heightPx: number;
  /** Distance to the next shape, pixels. */
  readonly gapPx: number;
}

/** Larger cuts are measured as lines are. */
const LARGEST_PX = 40;
const SEARCH_PX = 16;

/** Upright rectangles with nothing of their own layer close by, at most `most` of them, drawn at random. */
export function chooseVias(
  shapes: DrawnShapes,
  grid: PlateGrid,
  leastGapPx: number,
  most: number,
  seed: number,
) {
  const pixel = grid.pixel_um;
  const sites: ViaSite[] = [];
  shapes.polygons.forEach((polygon, own) => {
    const box = polygonBox(polygon);
    const [w, h] = [(box[2] - box[0]) / pixel, (box[3] - box[1]) / pixel];
    if (!isUpright(polygon, box) || w > LARGEST_PX || h > LARGEST_PX) return;
    const reach = SEARCH_PX * pixel;
    let gap = SEARCH_PX;
    for (const n of shapes.near(box[0] - reach, box[1] - reach, box[2] + reach, box[3] + reach)) {
      if (n === own) continue;
      const other = polygonBox(shapes.polygons[n]!);
      const dx = Math.max(other[0] - box[2], box[0] - other[2], 0);
      const dy = Math.max(other[1] - box[3], box[1] - other[3], 0);
      gap = Math.min(gap, Math.hypot(dx, dy) / pixel);
    }
    if (gap < leastGapPx) return;
    const centreUm = [(box[0] + box[2]) / 2, (box[1] + box[3]) / 2] as const;
    const centre = pixelFromDie(grid, ...centreUm);
    const room = Math.max(w, h) / 2 + SEARCH_PX;
    const inside = (v: number, size: number) => v > room && v < size - 1 - room;
    if (!inside(centre[0], grid.width_px) || !inside(centre[1], grid.height_px)) return;
    sites.push({ centre, centreUm, widthPx: w, heightPx: h, gapPx: gap });
  });
  const random = seeded(seed);
  while (sites.length > most) sites.splice(Math.floor(random() * sites.length), 1);
  return sites;
}

function isUpright(polygon: Float64Array, box: readonly number[]): boolean {
  if (polygon.length !== 8) return false;
  for (let n = 0; n < 8; n += 2) {
    const [x, y] = [polygon[n]!, polygon[n + 1]!];
    if ((x !== box[0] && x !== box[2]) || (y !== box[1] && y !== box[3])) return false;
  }
  return true;
}

/** Noise beside the vias. */
export function viaNoise(sample: Sampler, sites: readonly ViaSite[], blurPx: number): NoiseModel | null {
  const sums = emptyNoiseSums();
  for (const { centre, widthPx, gapPx } of sites.slice(0, 300)) {
    const reach = widthPx / 2 + Math.min(gapPx, 12);
    const from: [number, number] = [centre[0] - reach, centre[1]];
    const band = sampleBand(sample, from, [centre[0] + reach, centre[1]], 5);
    addNoise(sums, band, (n) => {
      const beside = Math.abs(n * band.stepPx - reach) - widthPx / 2;
      return beside > 2.5 * blurPx && beside < gapPx - 2.5 * blurPx;
    });
  }
  return noiseModel(sums);
}

/** Blur of every via whose edges tell it, pixels: for stacks whose conductors are too faint. */
export function viaBlurs(sample: Sampler, sites: readonly ViaSite[], noise: NoiseModel): number[] {
  return sites.flatMap(({ centre, widthPx, heightPx, gapPx }) => {
    const reach = widthPx / 2 + Math.min(gapPx - 2, 6);
    const profile = meanProfile(
      sampleBand(sample, [centre[0] - reach, centre[1]], [centre[0] + reach, centre[1]], 0.4 * heightPx),
    );
    if (!profile) return [];
    const [leftPx, rightPx] = [reach - widthPx / 2, reach + widthPx / 2];
    const fit = measureLine(profile, { leftPx, rightPx, noise, leastInBlurs: 0 });
    return fit.kind === 'line' ? [fit.blurPx] : [];
  });
}

export function fitVias(
  sample: Sampler,
  sites: readonly ViaSite[],
  blur: Blur,
  noise: NoiseModel,
  shiftPx: readonly [number, number],
) {
  const fits: { readonly site: ViaSite; readonly fit: ViaFit | null; readonly reason: string }[] = [];
  for (const site of sites) {
    const fit = measureVia(sample, {
      centre: [site.centre[0] + shiftPx[0], site.centre[1] - shiftPx[1]],
      widthPx: site.widthPx,
      heightPx: site.heightPx,
      clearPx: site.gapPx - 2.5 * blur.sdPx,
      blur,
      noise,
      leastInBlurs: 0,
    });
    fits.push(fit.kind === 'via' ? { site, fit, reason: '' } : { site, fit: null, reason: fit.reason });
  }
  return fits;
}
