/** Size of a via: extent in x and y from central profiles, and the side of the square of equal area. */
import { meanProfile, sampleBand } from './band.ts';
import type { Blur, Refusal } from './edge.ts';
import { refused } from './edge.ts';
import { type LineFit, measureLine } from './line.ts';
import type { NoiseModel } from './noise.ts';
import { normalCdf } from './normal.ts';
import type { Sampler } from './sampler.ts';

export interface ViaFit {
  readonly kind: 'via';
  readonly x: LineFit;
  readonly y: LineFit;
  /** Middle, column and row. */
  readonly centre: readonly [number, number];
  /** Side of the square whose area is the via's, pixels; NaN where half height is not reached. */
  readonly sidePx: number;
  readonly sideNoisePx: number;
}

export interface ViaRequest {
  /** Column and row of the expected middle. */
  readonly centre: readonly [number, number];
  readonly widthPx: number;
  readonly heightPx: number;
  /** How far beyond the via nothing else is drawn, pixels. */
  readonly clearPx: number;
  readonly blur: Blur;
  readonly noise: NoiseModel;
  /** As for a line. */
  readonly leastInBlurs?: number;
}

/** Extent of the central band as a share of the via: corners, which print round, stay out of it. */
const CENTRAL = 0.4;
/** Points per pixel along each axis when an area is counted. */
const FINE = 5;

export function measureVia(sample: Sampler, request: ViaRequest): ViaFit | Refusal {
  const { widthPx, heightPx, blur } = request;
  const along = (axis: 0 | 1, middle: readonly [number, number]): LineFit | Refusal => {
    const [size, other] = axis === 0 ? [widthPx, heightPx] : [heightPx, widthPx];
    const reach = size / 2 + Math.min(request.clearPx, Math.max(6 * blur.sdPx, 6));
    const from: [number, number] = [middle[0], middle[1]];
    const to: [number, number] = [middle[0], middle[1]];
    from[axis] -= reach;
    to[axis] += reach;
    const profile = meanProfile(sampleBand(sample, from, to, Math.max(1, other * CENTRAL)));
    if (!profile) return refused('no data');
    return measureLine(profile, {
      leftPx: reach - size / 2,
      rightPx: reach + size / 2,
      blur,
      noise: request.noise,
      ...(request.leastInBlurs === undefined ? {} : { leastInBlurs: request.leastInBlurs }),
    });
  };
  // A first pass finds the middle, so that the central bands lie where the via is.
  let centre = request.centre;
  let x: LineFit | Refusal = refused('no data');
  let y: LineFit | Refusal = x;
  for (let pass = 0; pass < 2; pass++) {
    x = along(0, centre);
    y = along(1, centre);
    if (x.kind === 'refused') return x;
    if (y.kind === 'refused') return y;
    const reachX = widthPx / 2 + Math.min(request.clearPx, Math.max(6 * blur.sdPx, 6));
    const reachY = heightPx / 2 + Math.min(request.clearPx, Math.max(6 * blur.sdPx, 6));
    centre = [
      centre[0] - reachX + (x.leftPx + x.rightPx) / 2,
      centre[1] - reachY + (y.leftPx + y.rightPx) / 2,
    ];
  }
  const fx = x as LineFit;
  const fy = y as LineFit;
  const sidePx = equalSide(sample, centre, fx, fy, request);
  return { kind: 'via', x: fx, y: fy, centre, sidePx, sideNoisePx: Math.hypot(fx.noisePx, fy.noisePx) / 2 };
}

/**
 * Area within the half-height contour, corrected by what the same contour of a blurred rectangle of the fitted size
 * would lose or gain.
 */
function equalSide(
  sample: Sampler,
  centre: readonly [number, number],
  x: LineFit,
  y: LineFit,
  request: ViaRequest,
): number {
  const { sdPx } = request.blur;
  const shape = (u: number, size: number) =>
    normalCdf((u + size / 2) / sdPx) - normalCdf((u - size / 2) / sdPx);
  const bandMean = (size: number) => {
    const half = Math.max(1, size * CENTRAL) / 2;
    let sum = 0;
    for (let n = -4; n <= 4; n++) sum += shape((n / 4) * half, size) / 9;
    return sum;
  };
  // Each profile saw the contrast lessened by the blur across its band.
  const contrast = (x.contrast / bandMean(y.widthPx) + y.contrast / bandMean(x.widthPx)) / 2;
  const reach = Math.min(request.clearPx, 2 * sdPx + 1);
  const halfX = x.widthPx / 2 + reach;
  const halfY = y.widthPx / 2 + reach;
  const ground = ringMean(sample, centre, halfX + 0.5, halfY + 0.5);
  const stepsX = Math.ceil(halfX * FINE);
  const stepsY = Math.ceil(halfY * FINE);
  let seen = 0;
  let expected = 0;
  for (let r = -stepsY; r <= stepsY; r++) {
    for (let c = -stepsX; c <= stepsX; c++) {
      const value = (sample(centre[0] + c / FINE, centre[1] + r / FINE) - ground) / contrast;
      if (value > 0.5) seen++;
      if (shape(c / FINE, x.widthPx) * shape(r / FINE, y.widthPx) > 0.5) expected++;
    }
  }
  if (seen === 0 || expected === 0) return Number.NaN;
  const area = (seen / FINE ** 2) * ((x.widthPx * y.widthPx) / (expected / FINE ** 2));
  return Math.sqrt(area);
}

/** Mean grey on the outline of a rectangle about the via. */
function ringMean(sample: Sampler, [cx, cy]: readonly [number, number], hx: number, hy: number): number {
  let sum = 0;
  let count = 0;
  for (let n = 0; n < 32; n++) {
    const t = (n / 32) * 8;
    const [u, v] =
      t < 2 ? [t - 1, -1] : t < 4 ? [1, t - 3] : t < 6 ? [5 - t, 1] : ([-1, 7 - t] as readonly number[]);
    const value = sample(cx + u! * hx, cy + v! * hy);
    if (Number.isNaN(value)) continue;
    sum += value;
    count++;
  }
  return count > 0 ? sum / count : Number.NaN;
}
