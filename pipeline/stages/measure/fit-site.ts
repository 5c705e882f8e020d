/** What one path across the drawing yields: edges, a line, the space beside it, the pitch of its neighbours. */
import type { Band, Profile } from '../../../shared/profile/band.ts';
import { type Blur, type EdgeFit, fitEdge } from '../../../shared/profile/edge.ts';
import { type LineFit, measureLine } from '../../../shared/profile/line.ts';
import { addNoise, type NoiseModel, type NoiseSums } from '../../../shared/profile/noise.ts';
import { fitPitch, type PitchFit } from '../../../shared/profile/pitch.ts';
import type { Interval } from './drawn-shapes.ts';
import { isLine, type Site } from './sites.ts';

export interface LayerOptics {
  readonly blur: Blur;
  readonly noise: NoiseModel;
  /** Displacement of the image against the drawing, pixels in die directions: where edges are looked for. */
  readonly shiftPx: readonly [number, number];
}

export interface SiteYield {
  readonly site: Site;
  readonly line: LineFit | null;
  readonly drawnWidthPx: number;
  readonly space: LineFit | null;
  readonly drawnSpacePx: number;
  readonly pitch: PitchFit | null;
  readonly drawnPitchPx: number;
  /** Own edge alone, where the shape is too wide for its other edge to be on the path. */
  readonly edge: EdgeFit | null;
  /** Where fits were tried and refused. */
  readonly refused: string | null;
}

/** Other edges stay this many standard deviations of the blur away from what is fitted. */
export const CLEAR = 2.5;
/** Misfit, as a share of the contrast, beyond which a profile shows something else than drawn. */
const MOST_MISFIT = 0.35;
const MOST_PERIODS = 6;

/** Expected shift of the image along a path. */
export const shiftAlong = (site: Site, shiftPx: readonly [number, number]): number =>
  site.direction[0] * shiftPx[0] + site.direction[1] * shiftPx[1];

export function fitSite(profile: Profile | null, site: Site, optics: LayerOptics): SiteYield {
  const empty: SiteYield = {
    ...{ site, line: null, drawnWidthPx: Number.NaN, space: null, drawnSpacePx: Number.NaN },
    ...{ pitch: null, drawnPitchPx: Number.NaN, edge: null, refused: null },
  };
  if (!profile) return { ...empty, refused: 'no data' };
  const { drawnPx, own, lengthPx } = site;
  const shift = shiftAlong(site, optics.shiftPx);
  if (!isLine(site)) {
    const { edge, reason } = ownEdge(profile, site, optics, shift);
    return { ...empty, edge, refused: reason };
  }
  const line = lineAt(profile, drawnPx, own, optics, shift, lengthPx);
  const [from, to] = drawnPx[own]!;
  const drawnWidthPx = to - from;
  const next = drawnPx[own + 1];
  const space = next ? spaceAfter(profile, drawnPx, own, optics, shift, lengthPx) : null;
  const run = equalRun(drawnPx, own, lengthPx);
  const pitch =
    typeof line === 'string' ? null : pitchOf(profile, drawnPx, own, run, optics, shift, lengthPx, line);
  return {
    ...empty,
    line: typeof line === 'string' ? null : line,
    drawnWidthPx,
    space: typeof space === 'string' ? null : space,
    drawnSpacePx: next ? next[0] - to : Number.NaN,
    pitch,
    drawnPitchPx: run > 0 ? drawnPx[own + 1]![0] - from : Number.NaN,
    refused: typeof line === 'string' ? line : null,
  };
}

function ownEdge(profile: Profile, site: Site, optics: LayerOptics, shift: number) {
  const { drawnPx, own, lengthPx } = site;
  const at = drawnPx[own]![0] + shift;
  const clear = CLEAR * optics.blur.sdPx;
  const before = own > 0 ? drawnPx[own - 1]![1] + shift + clear : 0;
  const reach = Math.min(at - before, lengthPx - at, Math.max(6 * optics.blur.sdPx, 6));
  if (reach < 2.5 * optics.blur.sdPx) return { edge: null, reason: 'another edge is too close' };
  const first = Math.ceil((at - reach) / profile.stepPx);
  const last = Math.floor((at + reach) / profile.stepPx);
  const fit = fitEdge(profile, { first, last, nearPx: at, blur: optics.blur, noise: optics.noise });
  if (fit.kind === 'refused') return { edge: null, reason: fit.reason };
  if (fit.misfit > MOST_MISFIT) return { edge: null, reason: 'the profile is not that of one edge' };
  return { edge: fit, reason: null };
}

function lineAt(
  profile: Profile,
  drawn: readonly Interval[],
  n: number,
  { blur, noise }: LayerOptics,
  shift: number,
  lengthPx: number,
): LineFit | string {
  const [from, to] = drawn[n]!;
  const clear = CLEAR * blur.sdPx;
  return checked(
    measureLine(profile, {
      leftPx: from + shift,
      rightPx: to + shift,
      fromPx: n > 0 ? drawn[n - 1]![1] + shift + clear : 0,
      toPx: n + 1 < drawn.length ? drawn[n + 1]![0] + shift - clear : lengthPx,
      ...{ blur, noise },
      // Whether a width can be had is decided for all lines of a drawn width alike, never by what one line came out as.
      leastInBlurs: 0,
    }),
  );
}

function spaceAfter(
  profile: Profile,
  drawn: readonly Interval[],
  n: number,
  { blur, noise }: LayerOptics,
  shift: number,
  lengthPx: number,
): LineFit | string {
  const [from, to] = drawn[n]!;
  const [nextFrom, nextTo] = drawn[n + 1]!;
  const clear = CLEAR * blur.sdPx;
  return checked(
    measureLine(profile, {
      leftPx: to + shift,
      rightPx: nextFrom + shift,
      fromPx: from + shift + clear,
      toPx: nextTo >= lengthPx ? lengthPx : nextTo + shift - clear,
      ...{ blur, noise, leastInBlurs: 0 },
    }),
  );
}

function checked(fit: ReturnType<typeof measureLine>): LineFit | string {
  if (fit.kind === 'refused') return fit.reason;
  return fit.misfit > MOST_MISFIT ? 'the profile is not that of one line' : fit;
}

/** How many equal lines at equal spacing follow the own one, all of them with both edges on the path. */
function equalRun(drawn: readonly Interval[], own: number, lengthPx: number): number {
  const [from, to] = drawn[own]!;
  const next = drawn[own + 1];
  if (!next) return 0;
  const pitch = next[0] - from;
  let run = 0;
  for (let n = own + 1; n < drawn.length && run < MOST_PERIODS; n++) {
    const [f, t] = drawn[n]!;
    const even = Math.abs(f - from - pitch * (run + 1)) < 0.02 && Math.abs(t - f - (to - from)) < 0.02;
    if (!even || t >= lengthPx - 0.02) break;
    run++;
  }
  return run;
}

function pitchOf(
  profile: Profile,
  drawn: readonly Interval[],
  own: number,
  run: number,
  optics: LayerOptics,
  shift: number,
  lengthPx: number,
  first: LineFit,
): PitchFit | null {
  const middles = [(first.leftPx + first.rightPx) / 2];
  for (let n = 1; n <= run; n++) {
    const line = lineAt(profile, drawn, own + n, optics, shift, lengthPx);
    if (typeof line === 'string' || line.contrast * first.contrast < 0) break;
    middles.push((line.leftPx + line.rightPx) / 2);
  }
  return fitPitch(middles, first.middleNoisePx);
}

/** Noise away from all drawn edges of a path. */
export function addSiteNoise(sums: NoiseSums, band: Band, site: Site, blurPx: number): void {
  const edges = site.drawnPx.flat();
  addNoise(sums, band, (n) => edges.every((edge) => Math.abs(edge - n * band.stepPx) > 3 * blurPx));
}
