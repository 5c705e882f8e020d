/** A layer ready to be measured: its portrait, its drawing, the paths laid over both. */
import type { LayerSpan } from '../../../shared/artefacts/layers.ts';
import type { ProcessLayer } from '../../../shared/artefacts/process.ts';
import { gridBoxUm, type PlateGrid, pixelFromDie } from '../../../shared/frames.ts';
import { meanProfile, type Profile } from '../../../shared/profile/band.ts';
import { emptyNoiseSums, type NoiseModel, noiseModel } from '../../../shared/profile/noise.ts';
import { cubic, type Sampler } from '../../../shared/profile/sampler.ts';
import { shapesInWindow } from '../../formats/layout/flatten.ts';
import type { DrawnLayer, Layout } from '../../formats/layout.ts';
import { DrawnShapes } from './drawn-shapes.ts';
import { addSiteNoise } from './fit-site.ts';
import { FIRST_BLUR_PX } from './layer-optics.ts';
import { chooseSites, type Site, siteBand } from './sites.ts';

/** Mean image of a layer over its plates, NaN where there is no data, on the plate grid. */
export interface LayerPortrait {
  readonly name: string;
  /** Plates combined, inclusive. */
  readonly first: number;
  readonly last: number;
  readonly values: Float32Array;
}

export interface LayerInput {
  readonly layer: ProcessLayer;
  readonly span: LayerSpan;
  readonly portrait: LayerPortrait;
  readonly sample: Sampler;
  readonly shapes: DrawnShapes;
  readonly sites: readonly Site[];
  /** Mean profile of each site; null where the image holds no data there. */
  readonly profiles: readonly (Profile | null)[];
  readonly noise: NoiseModel | null;
}

/** Scan lines averaged in a profile. */
export const PROFILE_LINES = 9;
/** Beyond the band on either side the drawing must stay the same, pixels: a corner there blurs in. */
const MARGIN_PX = 2.5;
/** Shapes wider than this many pixels are measured edge by edge. */
const REACH_PX = 56;
const MOST_SITES = 1500;
const MOST_PER_WIDTH = 300;

export function drawnShapes(
  layout: Layout,
  top: string,
  grid: PlateGrid,
  drawn: readonly string[],
): DrawnShapes {
  const polygons: Float64Array[] = [];
  if (drawn.length > 0)
    for (const shape of shapesInWindow(layout, top, gridBoxUm(grid), new Set(drawn as DrawnLayer[])))
      polygons.push(shape.xyUm);
  return new DrawnShapes(polygons);
}

export function prepareLayer(
  layer: ProcessLayer,
  span: LayerSpan,
  portrait: LayerPortrait,
  shapes: DrawnShapes,
  grid: PlateGrid,
  seed: number,
): LayerInput {
  const { width_px: width, height_px: height } = grid;
  const sample = cubic({ values: portrait.values, width, height });
  const hasData = (x: number, y: number): boolean => {
    const [c, r] = pixelFromDie(grid, x, y);
    return !Number.isNaN(sample(c, r));
  };
  const sites = chooseSites(shapes, grid, {
    reachPx: Math.min(REACH_PX, Math.floor(Math.min(width, height) / 4)),
    linesPx: PROFILE_LINES,
    marginPx: MARGIN_PX,
    most: MOST_SITES,
    mostPerWidth: MOST_PER_WIDTH,
    ...{ seed, hasData },
  });
  // Bands are looked at once and let go: only the profiles of thousands of sites are kept.
  const sums = emptyNoiseSums();
  const profiles = sites.map((site) => {
    const band = siteBand(sample, grid, site, PROFILE_LINES);
    addSiteNoise(sums, band, site, FIRST_BLUR_PX);
    return meanProfile(band);
  });
  return { layer, span, portrait, sample, shapes, sites, profiles, noise: noiseModel(sums) };
}
