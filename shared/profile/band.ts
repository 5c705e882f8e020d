/** Grey profiles: parallel scan lines across an edge or a line, and their mean. */
import type { Sampler } from './sampler.ts';

/** Column and row, fractional. */
export type PixelPoint = readonly [number, number];

/** Parallel scan lines, all of the same length, side by side. */
export interface Band {
  readonly lines: number;
  readonly count: number;
  /** Distance of neighbouring samples along a scan line, in pixels. */
  readonly stepPx: number;
  /** Distance of neighbouring scan lines, in pixels. */
  readonly lineStepPx: number;
  /** lines x count, row-major. Scan lines with a sample without data are left out. */
  readonly values: Float64Array;
}

/** Mean grey against the position along the path; sample n lies at `n * stepPx` from the path's start. */
export interface Profile {
  readonly stepPx: number;
  readonly values: Float64Array;
  /** Scan lines averaged, and their distance: what the noise of the mean depends on. */
  readonly lines: number;
  readonly lineStepPx: number;
}

/** Samples per pixel along a profile: enough that a blur of half a pixel is followed without aliasing. */
export const PROFILE_STEP_PX = 0.5;
export const LINE_STEP_PX = 1;

/**
 * Samples scan lines parallel to a path, centred on it.
 * @param widthPx extent across the path over which is averaged; one scan line per pixel, at least one
 */
export function sampleBand(
  sample: Sampler,
  from: PixelPoint,
  to: PixelPoint,
  widthPx: number,
  stepPx = PROFILE_STEP_PX,
): Band {
  const length = Math.hypot(to[0] - from[0], to[1] - from[1]);
  const count = Math.floor(length / stepPx + 1e-9) + 1;
  const wanted = Math.max(1, Math.round(widthPx / LINE_STEP_PX));
  const ux = length > 0 ? (to[0] - from[0]) / length : 1;
  const uy = length > 0 ? (to[1] - from[1]) / length : 0;
  const values = new Float64Array(wanted * count);
  let lines = 0;
  for (let l = 0; l < wanted; l++) {
    const across = (l - (wanted - 1) / 2) * LINE_STEP_PX;
    const base = lines * count;
    let whole = true;
    for (let n = 0; n < count; n++) {
      const along = n * stepPx;
      const value = sample(from[0] + ux * along - uy * across, from[1] + uy * along + ux * across);
      if (Number.isNaN(value)) {
        whole = false;
        break;
      }
      values[base + n] = value;
    }
    if (whole) lines++;
  }
  return { lines, count, stepPx, lineStepPx: LINE_STEP_PX, values: values.subarray(0, lines * count) };
}

/** Mean over the scan lines; null where none has data all along. */
export function meanProfile(band: Band): Profile | null {
  const { lines, count, values } = band;
  if (lines === 0) return null;
  const mean = new Float64Array(count);
  for (let l = 0; l < lines; l++) for (let n = 0; n < count; n++) mean[n]! += values[l * count + n]!;
  for (let n = 0; n < count; n++) mean[n]! /= lines;
  return { stepPx: band.stepPx, values: mean, lines, lineStepPx: band.lineStepPx };
}
