/** Widths, spaces and pitches on a path drawn by hand: edges are found, the path is turned square to them, then fitted. */
import { type Band, meanProfile, type PixelPoint, type Profile, sampleBand } from './band.ts';
import { type Blur, type Refusal, refused } from './edge.ts';
import { type Crossing, findEdges } from './find-edges.ts';
import { type LineFit, measureLine } from './line.ts';
import { addNoise, emptyNoiseSums, type NoiseModel, noiseModel } from './noise.ts';
import { fitPitch, type PitchFit } from './pitch.ts';
import type { Sampler } from './sampler.ts';

export interface GaugeRequest {
  readonly from: PixelPoint;
  readonly to: PixelPoint;
  /** Extent across the path over which is averaged, pixels. */
  readonly widthPx: number;
  /** Blur of the image; fitted with the edges where it is not known. */
  readonly blur: Blur | null;
  /** Least standard deviation of a sample that is believed: that of rounding to whole greys, say. */
  readonly leastNoise: number;
}

/** A path as it was measured, after it was turned, with what it shows. */
export interface Path {
  readonly from: PixelPoint;
  readonly to: PixelPoint;
  readonly band: Band;
  readonly profile: Profile;
  readonly edges: readonly Crossing[];
  readonly noise: NoiseModel;
  /** Independent samples behind the noise; null where it was not told from the profile. */
  readonly noiseDof: number | null;
}

export interface GaugedLine {
  readonly kind: 'gauged';
  readonly path: Path;
  readonly fit: LineFit;
  /** Angle that is left between the path and the normal of the edges, radians, and its standard uncertainty. */
  readonly askew: number;
  readonly askewU: number;
}

export interface GaugedPitch {
  readonly kind: 'gauged';
  readonly path: Path;
  readonly fit: PitchFit;
  readonly lines: readonly LineFit[];
  readonly askew: number;
  readonly askewU: number;
}

/** bright: the span between the edges is brighter than what lies beside it. */
export type Sense = 'bright' | 'dark';

/** Other edges stay this many standard deviations of the blur away from what is fitted, as in the build. */
const CLEAR = 2.5;
/** Blur assumed until one is known, pixels: that of a box pixel and cubic convolution together. */
const FIRST_BLUR_PX = 0.8;
/** A path further askew than this was not meant for these edges. */
const MOST_ASKEW = (35 * Math.PI) / 180;
const TURNS = 3;

/** Samples a path, finds its edges and its noise. @returns null where it holds no data all along */
export function layPath(sample: Sampler, request: GaugeRequest): Path | null {
  const { from, to, widthPx, blur, leastNoise } = request;
  const band = sampleBand(sample, from, to, widthPx);
  const profile = meanProfile(band);
  if (!profile) return null;
  const sd = blur?.sdPx ?? FIRST_BLUR_PX;
  const edges = findEdges(profile, sd);
  const sums = emptyNoiseSums();
  addNoise(sums, band, (n) => edges.every((edge) => Math.abs(edge.atPx - n * band.stepPx) > 3 * sd));
  const model = noiseModel(sums);
  const noise =
    model && model.sd > leastNoise
      ? model
      : { sd: model ? leastNoise : Number.NaN, correlation: model?.correlation ?? 0.5 };
  const usable = Number.isFinite(noise.sd) ? noise : { ...noise, sd: roughNoise(profile, edges, leastNoise) };
  const noiseDof = model ? Math.max(3, sums.varianceTerms / together(noise.correlation, band)) : null;
  return { from, to, band, profile, edges, noise: usable, noiseDof };
}

/** Samples that share one independent reading: sum over the neighbourhood of the squared correlation. */
function together(correlation: number, band: Band): number {
  let sum = 0;
  for (let a = -12; a <= 12; a++)
    for (let b = -6; b <= 6; b++)
      sum += correlation ** (2 * ((a * band.stepPx) ** 2 + (b * band.lineStepPx) ** 2));
  return sum;
}

/** Too few scan lines to tell noise from content: departures from the mean of the neighbours, away from the edges. */
function roughNoise({ values, stepPx }: Profile, edges: readonly Crossing[], least: number): number {
  let sum = 0;
  let count = 0;
  const apart = Math.round(1 / stepPx);
  for (let n = apart; n < values.length - apart; n++) {
    if (edges.some((edge) => Math.abs(edge.atPx - n * stepPx) < 4)) continue;
    sum += (values[n]! - (values[n - apart]! + values[n + apart]!) / 2) ** 2;
    count++;
  }
  // The variance of such a difference is one and a half times that of a sample.
  return count < 6 ? Math.max(least, 1) : Math.max(least, Math.sqrt(sum / count / 1.5));
}

/**
 * The span between two neighbouring edges nearest to the middle of a path.
 * @param sense of a line of metal, say, "bright" where metal is bright
 */
export function gaugeLine(sample: Sampler, request: GaugeRequest, sense: Sense): GaugedLine | Refusal {
  return squared(sample, request, (path, blur) => {
    const { edges } = path;
    const middle = ((path.band.count - 1) * path.band.stepPx) / 2;
    const spans = spansOf(edges, sense);
    if (spans.length === 0) return refused(nothingFound(edges, sense));
    const off = (n: number) => Math.abs((edges[n]!.atPx + edges[n + 1]!.atPx) / 2 - middle);
    const best = spans.reduce((a, b) => (off(b) < off(a) ? b : a));
    return fitSpan(path.profile, path, best, blur);
  });
}

/** The pitch of all equal spans of one sense on a path. */
export function gaugePitch(sample: Sampler, request: GaugeRequest): GaugedPitch | Refusal {
  const lines: LineFit[] = [];
  const pitched = squared(sample, request, (path, blur) => {
    lines.length = 0;
    const [bright, dark] = [spansOf(path.edges, 'bright'), spansOf(path.edges, 'dark')];
    const spans = dark.length > bright.length ? dark : bright;
    if (spans.length < 2)
      return refused('fewer than two lines were found on this path; draw it across several equal lines');
    for (const [at, n] of spans.entries()) {
      const fit = fitSpan(path.profile, path, n, blur);
      // A line that the end of the path cuts is left out; one inside must not be, or the count would be wrong.
      if (fit.kind === 'line') lines.push(fit);
      else if (at > 0 && at < spans.length - 1) return fit;
    }
    if (lines.length < 2) return refused('fewer than two whole lines lie on this path; draw it further out');
    // What the path is turned by: the line nearest to its middle.
    return lines[lines.length >> 1]!;
  });
  if (pitched.kind === 'refused') return pitched;
  const fit = fitPitch(
    lines.map((line) => (line.leftPx + line.rightPx) / 2),
    Math.sqrt(lines.reduce((sum, line) => sum + line.middleNoisePx ** 2, 0) / lines.length),
  )!;
  if (fit.unevenPx > 0.25 * fit.pitchPx)
    return refused('the lines on this path do not stand at equal distances');
  const { kind, path, askew, askewU } = pitched;
  return { kind, path, fit, lines: [...lines], askew, askewU };
}

/** Numbers of the edges with which a span of one sense begins. */
export const spansOf = (edges: readonly Crossing[], sense: Sense): number[] =>
  edges.flatMap((edge, n) =>
    n + 1 < edges.length && edge.sense === (sense === 'bright' ? 1 : -1) && edges[n + 1]!.sense !== edge.sense
      ? [n]
      : [],
  );

function nothingFound(edges: readonly Crossing[], sense: Sense): string {
  if (edges.length === 0)
    return 'no edge was found on this path; draw it right across, with ground at both ends';
  if (edges.length === 1) return 'only one edge was found on this path; draw it across both';
  return `no two edges with a ${sense} span between them were found on this path`;
}

/** Fits one span, its stretch bounded by the edges beside it. */
export function fitSpan(
  profile: Profile,
  { edges, noise }: Pick<Path, 'edges' | 'noise'>,
  n: number,
  blur: Blur | null,
): LineFit | Refusal {
  const bounds = boundsOf(edges[n - 1], edges[n + 2], blur);
  return measureLine(profile, {
    ...{ leftPx: edges[n]!.atPx, rightPx: edges[n + 1]!.atPx, noise, ...bounds },
    ...(blur ? { blur } : {}),
  });
}

/** Stretch of a profile that holds no edges but those of one span. */
function boundsOf(before: Crossing | undefined, after: Crossing | undefined, blur: Blur | null) {
  const clear = CLEAR * (blur?.sdPx ?? FIRST_BLUR_PX);
  return {
    ...(before ? { fromPx: before.atPx + clear } : {}),
    ...(after ? { toPx: after.atPx - clear } : {}),
  };
}

/** Turns a path about the middle of what it measures until it stands square to the edges. */
function squared(
  sample: Sampler,
  request: GaugeRequest,
  measure: (path: Path, blur: Blur | null) => LineFit | Refusal,
): GaugedLine | Refusal {
  let { from, to } = request;
  let turned = 0;
  let best: GaugedLine | null = null;
  for (let round = 0; round <= TURNS; round++) {
    const path = layPath(sample, { ...request, from, to });
    if (!path) return best ?? refused('the image holds no data all along this path');
    const fit = measure(path, request.blur);
    // A path that cannot be turned further keeps what it had.
    if (fit.kind === 'refused') return best ?? fit;
    const { askew, askewU } = askewOf(path, fit, request.blur);
    best = { kind: 'gauged', path, fit, askew, askewU };
    if (!(Math.abs(askew) > 2 * askewU) || Math.abs(askew) < 1e-4) break;
    turned += askew;
    if (Math.abs(turned) > MOST_ASKEW)
      return refused('the path is too far from square to the edges; draw it straight across');
    [from, to] = turn(path, (fit.leftPx + fit.rightPx) / 2, askew);
  }
  return best!;
}

/** Angle between the path and the normal of the edges, from the two halves of the band. */
function askewOf(path: Path, fit: LineFit, blur: Blur | null): { askew: number; askewU: number } {
  const { lines, count, stepPx, lineStepPx, values } = path.band;
  // Too narrow a band knows nothing of angles: within five degrees by hand, say.
  const unknown = { askew: 0, askewU: (5 * Math.PI) / 180 };
  const half = lines >> 1;
  if (half < 2) return unknown;
  const bounds = boundsOf(
    path.edges.findLast((edge) => edge.atPx < fit.leftPx - 1),
    path.edges.find((edge) => edge.atPx > fit.rightPx + 1),
    blur,
  );
  const middles = [0, lines - half].map((first) => {
    const part = { lines: half, count, stepPx, lineStepPx };
    const profile = meanProfile({ ...part, values: values.subarray(first * count, (first + half) * count) })!;
    const one = measureLine(profile, {
      ...{ leftPx: fit.leftPx, rightPx: fit.rightPx, noise: path.noise, leastInBlurs: 0 },
      ...bounds,
      blur: blur ?? { sdPx: fit.blurPx, uncertaintyPx: 0 },
    });
    return one.kind === 'line' ? one : null;
  });
  if (!middles[0] || !middles[1]) return unknown;
  const middle = (one: LineFit) => (one.leftPx + one.rightPx) / 2;
  const apart = (lines - half) * lineStepPx;
  return {
    askew: Math.atan2(middle(middles[1]) - middle(middles[0]), apart),
    askewU: Math.hypot(middles[0].middleNoisePx, middles[1].middleNoisePx) / apart,
  };
}

function turn({ from, to }: Path, aboutPx: number, angle: number): [PixelPoint, PixelPoint] {
  const length = Math.hypot(to[0] - from[0], to[1] - from[1]);
  const u = [(to[0] - from[0]) / length, (to[1] - from[1]) / length] as const;
  const centre = [from[0] + u[0] * aboutPx, from[1] + u[1] * aboutPx] as const;
  // Edges lean by the angle along the path for every step across it; the new direction leans back.
  const [c, s] = [Math.cos(angle), Math.sin(angle)];
  const d = [u[0] * c + u[1] * s, u[1] * c - u[0] * s] as const;
  return [
    [centre[0] - d[0] * aboutPx, centre[1] - d[1] * aboutPx],
    [centre[0] + d[0] * (length - aboutPx), centre[1] + d[1] * (length - aboutPx)],
  ];
}
