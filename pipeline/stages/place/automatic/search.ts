/**
 * The search over everything at once: both orders of the slices, every height of the stack, eight orientations and every
 * place of the drawing, on all threads; coarsely first, then the poses that show most, at every scale.
 */
import { type Affine3, compose3 } from '../../../../shared/affine.ts';
import type { Box } from '../../../../shared/polygon.ts';
import { sharedRaster } from '../../../kernels/shared-raster.ts';
import { openPool } from '../../../workers/pool.ts';
import { coarseVolume } from './coarse-volume.ts';
import type { LayerPicture } from './drawing.ts';
import { halved, type LayoutPictures } from './layout-pictures.ts';
import type { Hypothesis } from './orientation.ts';
import { planSearch } from './search-plan.ts';
import type { Height, Pose, ScaledScan, SearchLayer, SearchResult, SearchTask } from './search-task.ts';
import { type Apart, TopList } from './top-list.ts';
import { coarser, type WorkLevel } from './work-levels.ts';
import type { WorkVolume } from './work-volume.ts';

export interface SearchInput {
  readonly work: WorkVolume;
  /** Work voxel to level, turned frame with the middle of the scan at the origin. */
  readonly frame: Affine3;
  readonly layout: LayoutPictures;
  /** Where the middle of the scan may lie. */
  readonly centresUm: Box;
  readonly scales: readonly number[];
  readonly signs: readonly (1 | -1)[];
  /** Thickness of a bin, micrometres. */
  readonly binUm: number;
  readonly keep: number;
  readonly apart: Apart;
  readonly threads: number;
  readonly signal?: AbortSignal;
  /** Heights to try; left out: every height of the stack. */
  readonly heights?: readonly Height[];
}

export interface SearchOutcome {
  readonly found: readonly Hypothesis[];
  /** Best score of each orientation, slices rising first, then falling. */
  readonly best: readonly number[];
}

/** Share of the scan's depth, or of the stack's, that must overlap for a height to be tried. */
const LEAST_DEPTH = 0.35;
/** Heights are tried this far apart, micrometres: less than half of any layer that carries much of the picture. */
const HEIGHT_STEP_UM = 0.2;
/** Share of the poses that are looked at finely: those that show most coarsely. */
const SHARE_LOOKED_AT = 0.15;
/** A wrong scale spoils the rim of the field but not its middle: only so many of those are looked at at others. */
const SHARE_AT_OTHER_SCALES = 0.35;
/** Of every orientation and order of the slices at least so many heights: they are the decoys of the right one. */
const LEAST_HEIGHTS = 2;
/** Most pixels of the scan, across: corners of a turned field would cost more than they tell. */
const MOST_ACROSS = 93;

export async function search(input: SearchInput): Promise<SearchOutcome> {
  const { layout, work } = input;
  const stop = new Int32Array(new SharedArrayBuffer(4));
  const pool = openPool<SearchTask, SearchResult>(
    new URL('./search-worker.ts', import.meta.url),
    input.threads,
  );
  const halt = (): void => {
    Atomics.store(stop, 0, 1);
  };
  input.signal?.addEventListener('abort', halt);
  const count = Math.max(1, Math.round((work.nz * work.voxelUm[2]) / input.binUm));
  const look = async (
    { grid, layers }: LayoutPictures,
    scales: readonly number[],
    poses: readonly Pose[],
  ): Promise<SearchResult> => {
    const level = levelFor(input, grid.pixel_um);
    const scans = scales.map((scale) => scaledScan(level, input, grid.pixel_um, scale));
    const half = Math.ceil(Math.max(...scans.map((s) => Math.max(s.width, s.height))) / 2) + 1;
    const plan = planSearch({
      ...{ centresUm: input.centresUm, grid, half, poses, threads: input.threads },
      ...{ scales: scales.length, layers: layers.length },
    });
    const base: Omit<SearchTask, 'tiles' | 'poses'> = {
      ...{ side: plan.side, grid, layers: layers.map(searched), scans, stop, signs: input.signs },
      ...{ keep: input.keep, bottomUm: (-input.binUm * (count - 1)) / 2, stepUm: input.binUm },
    };
    const results = await Promise.all(plan.parts.map((part) => pool.run({ ...base, ...part })));
    return {
      found: results.flatMap((r) => r.found),
      best: bestOf(results),
      bestAt: poses.map((pose) => {
        const own = plan.parts.flatMap((part, n) => {
          const at = part.poses.indexOf(pose);
          return at < 0 ? [] : [results[n]!.bestAt[at]!];
        });
        return [0, 1].map((side) => Math.max(0, ...own.map((scores) => scores[side]!)));
      }),
    };
  };
  try {
    const poses = posesOf(input.heights ?? heightsOf(layout.layers.map(searched), work.nz * work.voxelUm[2]));
    const chosen = input.heights
      ? poses
      : promising(poses, await look(halved(layout), [1], poses), SHARE_LOOKED_AT, LEAST_HEIGHTS);
    const [scale, ...others] = input.scales;
    const first = await look(layout, [scale!], chosen);
    const again = input.heights ? poses : promising(chosen, first, SHARE_AT_OTHER_SCALES, 1);
    const passes = others.length > 0 ? [first, await look(layout, others, again)] : [first];
    const top = new TopList(input.keep, input.apart);
    for (const place of passes.flatMap((pass) => pass.found)) top.add(place);
    return { found: top.best(), best: bestOf(passes) };
  } finally {
    input.signal?.removeEventListener('abort', halt);
    await pool.close();
  }
}

const bestOf = (results: readonly Pick<SearchResult, 'best'>[]): number[] =>
  Array.from({ length: 16 }, (_, n) => Math.max(0, ...results.map((r) => r.best[n]!)));

const searched = ({ layer, picture, power }: LayerPicture): SearchLayer => ({
  ...{ bottomUm: layer.bottom_um, topUm: layer.bottom_um + layer.thickness_um, picture, power },
});

const posesOf = (heights: readonly Height[]): Pose[] =>
  heights.flatMap((height) => [0, 2, 4, 6].map((pair) => ({ ...height, pair })));

/** Poses with the best scores, and the best of every orientation and order of the slices; in the order given. */
function promising(
  poses: readonly Pose[],
  { bestAt }: SearchResult,
  share: number,
  leastHeights: number,
): Pose[] {
  const score = bestAt.flat();
  const ranked = [...score.keys()].sort((a, b) => score[b]! - score[a]!);
  const most = Math.ceil(share * poses.length);
  const chosen = new Set<number>();
  const taken = new Map<string, number>();
  for (const n of ranked) {
    const { pair, rising } = poses[n >> 1]!;
    const kind = `${pair + (n & 1)} ${rising}`;
    const before = taken.get(kind) ?? 0;
    if (chosen.size < most || before < leastHeights) chosen.add(n >> 1);
    taken.set(kind, before + 1);
  }
  return poses.filter((_, n) => chosen.has(n));
}

/** A scan is looked at through voxels of half a pixel of the search at the most: finer ones only take time. */
function levelFor({ work, binUm }: SearchInput, pixelUm: number): WorkLevel {
  const fits = (voxelUm: number, wantedUm: number): number => Math.max(1, Math.floor(wantedUm / 2 / voxelUm));
  return coarser(
    work,
    fits(Math.max(work.voxelUm[0], work.voxelUm[1]), pixelUm),
    fits(work.voxelUm[2], binUm),
  );
}

function scaledScan(
  { work, toFinest }: WorkLevel,
  { frame, binUm }: SearchInput,
  pixelUm: number,
  scale: number,
): ScaledScan {
  const volume = coarseVolume(work, compose3(frame, toFinest), pixelUm / scale, binUm, MOST_ACROSS);
  return {
    ...{ scale, width: volume.grid.width, height: volume.grid.height },
    bins: shared(volume.values),
    weight: shared(volume.weight),
  };
}

function shared(values: Float32Array): Float32Array {
  const out = sharedRaster(values.length);
  out.set(values);
  return out;
}

export function heightsOf(
  layers: readonly { readonly bottomUm: number; readonly topUm: number }[],
  depthUm: number,
): Height[] {
  const low = Math.min(...layers.map((l) => l.bottomUm));
  const high = Math.max(...layers.map((l) => l.topUm));
  const margin = Math.min(depthUm, high - low) * LEAST_DEPTH;
  const from = low - depthUm / 2 + margin;
  const to = high + depthUm / 2 - margin;
  const count = Math.max(1, Math.ceil((to - from) / HEIGHT_STEP_UM));
  return Array.from({ length: count + 1 }, (_, n) => from + (n * (to - from)) / count).flatMap((z) => [
    { rising: 1 as const, z },
    { rising: -1 as const, z },
  ]);
}
