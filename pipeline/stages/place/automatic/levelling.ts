/**
 * How the layers lie in the slices: every patch of the field has a depth profile of how much its picture changes from
 * one slice to the next, high at the faces of layers; the right tilt is the one that lines the profiles up.
 */
import type { WorkVolume } from './work-volume.ts';

export interface Tilt {
  /** Rise of a layer along the scan's x (columns) and y (up the picture), micrometres per micrometre. */
  readonly alongX: number;
  readonly alongY: number;
}

const PATCHES = 7;
/** Slices compared lie this far above and below, micrometres. */
const REACH_UM = 0.12;
const LARGEST_DEG = 2.2;
const STEP_DEG = 0.1;

interface Profile {
  readonly x: number;
  readonly y: number;
  /** Mean 0, spread 1, one per slice. */
  readonly values: Float64Array;
}

export function findTilt(work: WorkVolume): Tilt {
  const profiles = depthProfiles(work);
  const level = { alongX: 0, alongY: 0 };
  if (profiles.length < 8) return level;
  const steps = Math.round(LARGEST_DEG / STEP_DEG);
  const slope = (n: number) => Math.tan((n * STEP_DEG * Math.PI) / 180);
  const size = 2 * steps + 1;
  const scores = new Float64Array(size * size);
  for (let b = -steps; b <= steps; b++)
    for (let a = -steps; a <= steps; a++)
      scores[(b + steps) * size + a + steps] = alignment(profiles, slope(a), slope(b), work);
  let best = 0;
  for (let n = 1; n < scores.length; n++) if (scores[n]! > scores[best]!) best = n;
  const [a, b] = [best % size, Math.floor(best / size)];
  // At the edge of what was tried there is no peak.
  if (a === 0 || b === 0 || a === size - 1 || b === size - 1) return level;
  const at = (n: number): number => scores[n] ?? scores[best]!;
  const refine = (low: number, high: number): number => vertex(low, scores[best]!, high);
  const fineA = refine(at(best - 1), at(best + 1));
  const fineB = refine(at(best - size), at(best + size));
  return { alongX: slope(a - steps + fineA), alongY: slope(b - steps + fineB) };
}

/** Place of the top of the parabola through values at -1, 0, 1. */
export function vertex(low: number, middle: number, high: number): number {
  const curve = low - 2 * middle + high;
  return curve < 0 ? Math.min(0.5, Math.max(-0.5, (0.5 * (low - high)) / curve)) : 0;
}

function depthProfiles(work: WorkVolume): Profile[] {
  const { nx, ny, nz, voxels, weight, voxelUm } = work;
  const reach = Math.max(1, Math.round(REACH_UM / voxelUm[2]));
  const profiles: Profile[] = [];
  for (let b = 0; b < PATCHES; b++) {
    for (let a = 0; a < PATCHES; a++) {
      const [i0, i1] = [Math.floor((a * nx) / PATCHES), Math.floor(((a + 1) * nx) / PATCHES)];
      const [j0, j1] = [Math.floor((b * ny) / PATCHES), Math.floor(((b + 1) * ny) / PATCHES)];
      let inField = 0;
      for (let j = j0; j < j1; j++) for (let i = i0; i < i1; i++) inField += weight[j * nx + i]!;
      if (inField < 0.7 * (i1 - i0) * (j1 - j0)) continue;
      const values = new Float64Array(nz);
      for (let k = reach; k < nz - reach; k++) {
        let product = 0;
        let low = 1e-9;
        let high = 1e-9;
        for (let j = j0; j < j1; j++) {
          const lowAt = ((k - reach) * ny + j) * nx;
          const highAt = ((k + reach) * ny + j) * nx;
          for (let i = i0; i < i1; i++) {
            const p = voxels[lowAt + i]!;
            const q = voxels[highAt + i]!;
            product += p * q;
            low += p * p;
            high += q * q;
          }
        }
        values[k] = 1 - product / Math.sqrt(low * high);
      }
      profiles.push({
        x: ((i0 + i1 - nx) / 2) * voxelUm[0],
        y: -((j0 + j1 - ny) / 2) * voxelUm[1],
        values: standardised(smoothed(values, reach), reach),
      });
    }
  }
  return profiles;
}

/** Mean over as many slices as lie between those compared: jitter of single slices must not stand for a face. */
function smoothed(values: Float64Array, radius: number): Float64Array {
  return values.map((_, k) => {
    const around = values.subarray(Math.max(0, k - radius), k + radius + 1);
    return around.reduce((sum, v) => sum + v, 0) / around.length;
  });
}

function standardised(values: Float64Array, margin: number): Float64Array {
  const inner = values.subarray(margin, values.length - margin);
  if (inner.length === 0) return values;
  const mean = inner.reduce((sum, v) => sum + v, 0) / inner.length;
  const spread = Math.sqrt(inner.reduce((sum, v) => sum + (v - mean) ** 2, 0) / inner.length) || 1;
  for (let n = 0; n < inner.length; n++) inner[n] = (inner[n]! - mean) / spread;
  values.fill(0, 0, margin);
  values.fill(0, values.length - margin);
  return values;
}

/**
 * Power of the sum of all profiles, each moved to where the tilt puts it, over the sum of their powers: moving by parts
 * of a slice smooths a profile, which must not count against a tilt.
 */
function alignment(profiles: readonly Profile[], alongX: number, alongY: number, work: WorkVolume): number {
  const { nz, voxelUm } = work;
  const sum = new Float64Array(nz);
  let own = 1e-9;
  for (const { x, y, values } of profiles) {
    const shift = (x * alongX + y * alongY) / voxelUm[2];
    const whole = Math.floor(shift);
    const part = shift - whole;
    for (let k = Math.max(0, -whole); k < Math.min(nz, nz - 1 - whole); k++) {
      const value = values[k + whole]! * (1 - part) + values[k + whole + 1]! * part;
      sum[k] = sum[k]! + value;
      own += value * value;
    }
  }
  let power = 0;
  for (const v of sum) power += v * v;
  return power / (own * profiles.length);
}
