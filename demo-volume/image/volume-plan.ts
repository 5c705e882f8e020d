/** Everything a worker needs to know to image a volume, as plain data that can be sent to a thread. */
import type { Conditions } from './conditions.ts';
import type { FineGrid } from './coverage.ts';
import { type Distortion, evaluate } from './distortion.ts';
import { goodLength } from './fft.ts';
import type { PrintedShapes } from './layer-mask.ts';
import { mapPoint, planeAtHeight, type VoxelMap } from './scan-frame.ts';
import type { Instrument } from './transfer.ts';

/** One layer as the fab made it. */
export interface MadeLayer {
  readonly name: string;
  readonly bottomUm: number;
  readonly topUm: number;
  /** Electron density above that of the oxide around it, e/A^3. */
  readonly contrast: number;
  readonly shapes: PrintedShapes;
}

/** Slow change of grey over the field, in the picture's own coordinates (-1 ... 1). */
export interface Drift {
  readonly amplitude: number;
  readonly gain: number;
  readonly direction: number;
  readonly phase: number;
}

export interface GreyScale {
  readonly zero: number;
  readonly perUnit: number;
  readonly drift: Drift;
}

export interface VolumePlan {
  readonly shape: readonly [number, number, number];
  readonly voxelUm: readonly [number, number, number];
  readonly map: VoxelMap;
  readonly layers: readonly MadeLayer[];
  readonly instrument: Instrument;
  /** Standard deviation of the noise in the finished volume, e/A^3. */
  readonly noiseSd: number;
  readonly seed: number;
  readonly grey: GreyScale;
  readonly circular: boolean;
  readonly conditions: Conditions;
  /** Pixel size written into the files, nanometres. */
  readonly statedNm: number;
  /** Transformed grid and where the scan's voxel [0, 0, 0] lies in it. */
  readonly grid: readonly [number, number, number];
  readonly origin: readonly [number, number, number];
  /** Folder of the slices; null keeps them in memory only (tests). */
  readonly folder: string | null;
}

/** Margins against wrap-around, in voxels: a part of the field, at least so many. */
const MARGIN_LATERAL = 0.06;
const MARGIN_DEPTH = 0.13;
const MARGIN_LEAST = 16;

/** Size of the transformed grid: the scan with margins, at lengths the transform likes. */
export function paddedGrid(shape: readonly [number, number, number]): {
  grid: [number, number, number];
  origin: [number, number, number];
} {
  const grid = shape.map((n, axis) => {
    const margin = Math.max(MARGIN_LEAST, Math.ceil(n * (axis === 2 ? MARGIN_DEPTH : MARGIN_LATERAL)));
    return goodLength(n + 2 * margin);
  }) as [number, number, number];
  const origin = grid.map((g, axis) => Math.floor((g - (shape[axis] as number)) / 2)) as [
    number,
    number,
    number,
  ];
  return { grid, origin };
}

/** The fine grid over everything the transformed grid looks at, at half a voxel. */
export function fineGridOf(plan: VolumePlan): FineGrid {
  const pixelUm = Math.min(plan.voxelUm[0], plan.voxelUm[1]) / 2;
  let [x0, y0, x1, y1] = [Infinity, Infinity, -Infinity, -Infinity];
  const heights = plan.layers.flatMap((l) => [l.bottomUm, l.topUm]);
  for (const z of [Math.min(...heights), Math.max(...heights)]) {
    const [xi, xj, xc, yi, yj, yc] = planeAtHeight(plan.map, z) as [
      number,
      number,
      number,
      number,
      number,
      number,
    ];
    for (const i of [-plan.origin[0] - 1, plan.grid[0] - plan.origin[0]])
      for (const j of [-plan.origin[1] - 1, plan.grid[1] - plan.origin[1]]) {
        const x = xi * i + xj * j + xc;
        const y = yi * i + yj * j + yc;
        [x0, y0, x1, y1] = [Math.min(x0, x), Math.min(y0, y), Math.max(x1, x), Math.max(y1, y)];
      }
  }
  const bend = plan.conditions.bend;
  const margin = 0.2 + (bend ? mostWarp(bend, plan.shape) * Math.max(plan.voxelUm[0], plan.voxelUm[1]) : 0);
  const snap = (v: number): number => Math.floor((v - margin) / pixelUm) * pixelUm;
  const [left, low] = [snap(x0), snap(y0)];
  return {
    x0Um: left,
    y0Um: low,
    pixelUm,
    width: Math.ceil((x1 + margin - left) / pixelUm),
    height: Math.ceil((y1 + margin - low) / pixelUm),
  };
}

/** Largest displacement in the plane, held values beyond the field included, voxels. */
function mostWarp(bend: Distortion, shape: readonly [number, number, number]): number {
  let most = 0;
  for (let a = -4; a <= 36; a++)
    for (let b = -4; b <= 36; b++) {
      const at = [(a / 32) * (shape[0] - 1), (b / 32) * (shape[1] - 1)] as const;
      const [u, v] = [evaluate(bend.warpI, shape, ...at), evaluate(bend.warpJ, shape, ...at)];
      most = Math.max(most, Math.hypot(u, v));
    }
  return most;
}

/** Box in the die that the fine grid covers: shapes outside it are never seen. */
export function viewBox(plan: VolumePlan): [number, number, number, number] {
  const g = fineGridOf(plan);
  return [g.x0Um, g.y0Um, g.x0Um + g.width * g.pixelUm, g.y0Um + g.height * g.pixelUm];
}

/** Lowest and highest die height that the scan's own slices see. */
export function depthSeen(plan: Pick<VolumePlan, 'shape' | 'map'>): [number, number] {
  const zs: number[] = [];
  for (const i of [0, plan.shape[0] - 1])
    for (const j of [0, plan.shape[1] - 1])
      for (const k of [0, plan.shape[2] - 1]) zs.push(mapPoint(plan.map, i, j, k)[2]);
  return [Math.min(...zs), Math.max(...zs)];
}
