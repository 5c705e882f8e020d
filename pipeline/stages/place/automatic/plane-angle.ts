/** The in-plane angle of mostly rectangular shapes, modulo 90 degrees: the turn at which rows and columns differ most. */
import { smooth } from '../../../kernels/smooth.ts';
import type { FrameVolume } from './frame-volume.ts';

export interface PlaneAngle {
  /** Turn of the edges against the frame's axes, counter-clockwise, -45 to 45 degrees, in radians. */
  readonly radians: number;
  /** How far the best turn stands above the others, in standard deviations of their scores. */
  readonly strength: number;
}

const COARSE = (0.5 * Math.PI) / 180;
const FINE = (0.1 * Math.PI) / 180;
const QUARTER = Math.PI / 2;

/**
 * Sums of every slice along the rows and the columns of a turned grid; where the grid lies along the edges their power
 * is largest. Only a disc is looked at, so that noise weighs the same at every turn.
 */
export function findPlaneAngle(volume: FrameVolume): PlaneAngle {
  const coarse = Array.from({ length: Math.round(QUARTER / COARSE) }, (_, n) => n * COARSE - QUARTER / 2);
  const disc = discOf(volume);
  const scores = projectionPowers(volume, disc, coarse);
  const best = indexOfMost(scores);
  const others = scores.filter((_, n) => {
    const away = Math.abs(n - best);
    return Math.min(away, scores.length - away) * COARSE > (3 * Math.PI) / 180;
  });
  const mean = others.reduce((sum, v) => sum + v, 0) / others.length;
  const spread = Math.sqrt(others.reduce((sum, v) => sum + (v - mean) ** 2, 0) / others.length);
  const fine = Array.from({ length: 13 }, (_, n) => coarse[best]! + (n - 6) * FINE);
  const near = projectionPowers(volume, disc, fine);
  const top = indexOfMost(near);
  const curve = top > 0 && top < 12 ? near[top - 1]! - 2 * near[top]! + near[top + 1]! : 0;
  const off = curve < 0 ? (0.5 * (near[top - 1]! - near[top + 1]!)) / curve : 0;
  return {
    radians: folded(fine[top]! + FINE * Math.min(0.5, Math.max(-0.5, off))),
    strength: spread > 0 ? (scores[best]! - mean) / spread : 0,
  };
}

/** Brings an angle to -45 .. 45 degrees by quarter turns. */
export const folded = (radians: number): number => radians - Math.round(radians / QUARTER) * QUARTER;

function indexOfMost(values: readonly number[]): number {
  let best = 0;
  values.forEach((value, n) => {
    if (value > values[best]!) best = n;
  });
  return best;
}

interface Disc {
  readonly index: Uint32Array;
  readonly x: Float32Array;
  readonly y: Float32Array;
  readonly radius: number;
  /** The slices, each lightly smoothed, only the pixels of the disc. */
  readonly slices: Float32Array[];
}

function discOf(volume: FrameVolume): Disc {
  const { width, height, count } = volume.grid;
  const radius = Math.min(width, height) / 2 - 1;
  const index: number[] = [];
  const x: number[] = [];
  const y: number[] = [];
  for (let row = 0; row < height; row++) {
    for (let column = 0; column < width; column++) {
      const u = column - (width - 1) / 2;
      const v = (height - 1) / 2 - row;
      if (u * u + v * v > radius * radius || volume.weight[row * width + column] === 0) continue;
      index.push(row * width + column);
      x.push(u);
      y.push(v);
    }
  }
  const area = width * height;
  const slices = Array.from({ length: count }, (_, n) => {
    const slice = smooth(volume.values.slice(n * area, (n + 1) * area), width, height, 1);
    return Float32Array.from(index, (p) => slice[p]!);
  });
  return { index: Uint32Array.from(index), x: Float32Array.from(x), y: Float32Array.from(y), radius, slices };
}

function projectionPowers(volume: FrameVolume, disc: Disc, angles: readonly number[]): number[] {
  const half = Math.ceil(disc.radius) + 1;
  const size = 2 * half + 1;
  const u = new Uint16Array(disc.index.length);
  const v = new Uint16Array(disc.index.length);
  const sums = new Float64Array(2 * size);
  const counts = new Float64Array(2 * size);
  return angles.map((angle) => {
    const cos = Math.cos(angle);
    const sin = Math.sin(angle);
    counts.fill(0);
    for (let p = 0; p < u.length; p++) {
      u[p] = Math.round(disc.x[p]! * cos + disc.y[p]! * sin) + half;
      v[p] = size + Math.round(disc.y[p]! * cos - disc.x[p]! * sin) + half;
      counts[u[p]!]!++;
      counts[v[p]!]!++;
    }
    let power = 0;
    for (let n = 0; n < volume.grid.count; n++) {
      const slice = disc.slices[n]!;
      sums.fill(0);
      for (let p = 0; p < u.length; p++) {
        const value = slice[p]!;
        sums[u[p]!]! += value;
        sums[v[p]!]! += value;
      }
      for (let q = 0; q < sums.length; q++) if (counts[q]! > 8) power += sums[q]! ** 2 / counts[q]!;
    }
    return power;
  });
}
