/** What must be known of a layer's portrait before widths mean anything: its noise, its blur, its shift, its sign. */
import type { Profile } from '../../../shared/profile/band.ts';
import { type Blur, fitEdge } from '../../../shared/profile/edge.ts';
import { measureLine } from '../../../shared/profile/line.ts';
import type { NoiseModel } from '../../../shared/profile/noise.ts';
import { median } from '../../kernels/statistics.ts';
import { CLEAR, shiftAlong } from './fit-site.ts';
import { robustDeviation, spreadOf } from './robust.ts';
import { isLine, type Site } from './sites.ts';

export interface LayerLook {
  /** Shift of the image against the drawing, pixels along die X and Y. */
  readonly shiftPx: readonly [number, number];
  /** Grey inside minus outside over the noise of one sample, signed. */
  readonly contrastToNoise: number;
  /** Median grey inside minus outside. */
  readonly contrast: number;
  /** Edges tried, and those that stood out of the noise with the sign of the majority. */
  readonly tried: number;
  readonly seen: number;
}

/** Blur assumed until it is measured, pixels: that of a box pixel and cubic convolution together. */
export const FIRST_BLUR_PX = 0.8;
/** Lines at least this wide, in pixels, have edges whose blur can be told from their width. */
const WIDE_PX = 7;
/** Fewest sites for a look. */
export const LEAST_SITES = 8;

/** Blur of every edge on which it can be told, pixels. */
export const blurReadings = (
  sites: readonly Site[],
  profiles: readonly (Profile | null)[],
  noise: NoiseModel,
): number[] => alikeEdges(roughEdges(sites, profiles, noise, [0, 0], null)).map((edge) => edge.blurPx);

/** Sign, contrast and shift of a layer whose blur is known. */
export function lookAtLayer(
  sites: readonly Site[],
  profiles: readonly (Profile | null)[],
  noise: NoiseModel,
  blur: Blur,
): LayerLook {
  let shiftPx: readonly [number, number] = [0, 0];
  let edges: RoughEdge[] = [];
  for (let pass = 0; pass < 2; pass++) {
    edges = alikeEdges(roughEdges(sites, profiles, noise, shiftPx, blur));
    shiftPx = shiftOf(edges, shiftPx);
  }
  const contrast = edges.length > 0 ? median(edges.map((e) => e.contrast)) : 0;
  return {
    shiftPx,
    contrast,
    contrastToNoise: contrast / noise.sd,
    tried: profiles.filter((profile) => profile !== null).length,
    seen: edges.length,
  };
}

/** Edges with the sign of the majority. */
function alikeEdges(edges: readonly RoughEdge[]): RoughEdge[] {
  const up = edges.filter((e) => e.contrast > 0).length;
  const sign = up * 2 >= edges.length ? 1 : -1;
  return edges.filter((e) => e.contrast * sign > 0);
}

interface RoughEdge {
  readonly site: Site;
  readonly contrast: number;
  readonly blurPx: number;
  /** Seen minus drawn, along the path: mean of both edges of a line. */
  readonly shift: number;
}

function roughEdges(
  sites: readonly Site[],
  profiles: readonly (Profile | null)[],
  noise: NoiseModel,
  shiftPx: readonly [number, number],
  blur: Blur | null,
): RoughEdge[] {
  const found: RoughEdge[] = [];
  sites.forEach((site, n) => {
    const profile = profiles[n];
    if (!profile) return;
    const { drawnPx, own, lengthPx } = site;
    const [from, to] = drawnPx[own]!;
    const shift = shiftAlong(site, shiftPx);
    const clear = CLEAR * (blur?.sdPx ?? 1);
    const known = blur ? { blur } : {};
    const before = own > 0 ? drawnPx[own - 1]![1] + shift + clear : 0;
    if (!isLine(site)) {
      const reach = Math.min(from + shift - before, lengthPx - from - shift, 8);
      if (reach < 4) return;
      const first = Math.ceil((from + shift - reach) / profile.stepPx);
      const last = Math.floor((from + shift + reach) / profile.stepPx);
      const fit = fitEdge(profile, { first, last, nearPx: from + shift, noise, ...known });
      if (fit.kind === 'edge')
        found.push({ site, contrast: fit.rise, blurPx: fit.blurPx, shift: fit.atPx - from });
      return;
    }
    if (!blur && to - from < WIDE_PX) return;
    const after = own + 1 < drawnPx.length ? drawnPx[own + 1]![0] + shift - clear : lengthPx;
    const fit = measureLine(profile, {
      leftPx: from + shift,
      rightPx: to + shift,
      fromPx: before,
      toPx: after,
      ...{ noise, ...known, leastInBlurs: 0 },
    });
    if (fit.kind === 'line')
      found.push({
        ...{ site, contrast: fit.contrast, blurPx: fit.blurPx },
        shift: (fit.leftPx + fit.rightPx - from - to) / 2,
      });
  });
  return found;
}

/** Least squares over paths in different directions, from the median of each direction. */
function shiftOf(edges: readonly RoughEdge[], old: readonly [number, number]): readonly [number, number] {
  const along = (axis: 0 | 1): number => {
    const own = edges.filter((e) => Math.abs(e.site.direction[axis]) > 0.9);
    if (own.length < LEAST_SITES) return old[axis];
    // Wide shapes are met from both sides, and a bias of the width must not look like a shift.
    const [plus, minus] = [1, -1].map((way) => {
      const same = own.filter((e) => e.site.direction[axis] * way > 0);
      const lines = same.filter((e) => isLine(e.site)).map((e) => e.shift * way);
      const single = same.filter((e) => !isLine(e.site)).map((e) => e.shift * way);
      return { lines, single };
    }) as [{ lines: number[]; single: number[] }, { lines: number[]; single: number[] }];
    const fromLines = [...plus.lines, ...minus.lines];
    if (fromLines.length >= LEAST_SITES) return median(fromLines);
    if (plus.single.length > 0 && minus.single.length > 0)
      return (median(plus.single) + median(minus.single)) / 2;
    return old[axis];
  };
  return [along(0), along(1)];
}

export interface BlurFinding {
  readonly sdPx: number;
  readonly uncertaintyPx: number;
  readonly n: number;
  readonly spreadPx: number;
}

/** Median blur and its uncertainty; null where fewer than `LEAST_SITES` edges told it. */
export function blurOf(readings: readonly number[]): BlurFinding | null {
  if (readings.length < LEAST_SITES) return null;
  const { n, median: sdPx, sd } = spreadOf(readings);
  return {
    sdPx,
    uncertaintyPx: (Math.max(sd, robustDeviation(readings)) * Math.sqrt(Math.PI / 2)) / Math.sqrt(n),
    n,
    spreadPx: sd,
  };
}
