/**
 * The search over everything at once: scales, both orders of the slices, every height of the stack, eight orientations
 * and every place of the drawing, on all threads.
 */
import type { Affine3 } from '../../../../shared/affine.ts';
import type { Box } from '../../../../shared/polygon.ts';
import { sharedRaster } from '../../../kernels/shared-raster.ts';
import { openPool } from '../../../workers/pool.ts';
import { coarseVolume } from './coarse-volume.ts';
import type { LayoutPictures } from './layout-pictures.ts';
import type { Hypothesis } from './orientation.ts';
import type { Height, ScaledScan, SearchResult, SearchTask, Tile } from './search-task.ts';
import { type Apart, TopList } from './top-list.ts';
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
/** A wrong scale spoils the rim of the field but not its middle: only heights this far up the list are tried at others. */
const SHARE_AT_OTHER_SCALES = 0.4;
/** Most pixels of the scan, across: corners of a turned field would cost more than they tell. */
const MOST_ACROSS = 93;
/** Spectra of tiles that a thread may hold, bytes. */
const MOST_BYTES = 300e6;

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
  const layers = layout.layers.map(({ layer, picture, power }) => ({
    ...{ bottomUm: layer.bottom_um, topUm: layer.bottom_um + layer.thickness_um, picture, power },
  }));
  const count = Math.max(1, Math.round((work.nz * work.voxelUm[2]) / input.binUm));
  const look = async (scales: readonly number[], heights: readonly Height[]): Promise<SearchResult[]> => {
    const scans = scales.map((scale) => scaledScan(input, scale));
    const half = Math.ceil(Math.max(...scans.map((s) => Math.max(s.width, s.height))) / 2) + 1;
    const side = sideFor(half, layout);
    const base: Omit<SearchTask, 'tiles'> = {
      ...{ side, grid: layout.grid, layers, scans, stop, signs: input.signs, keep: input.keep, heights },
      ...{ bottomUm: (-input.binUm * (count - 1)) / 2, stepUm: input.binUm },
    };
    return Promise.all(
      batches(tilesOf(input, half, side), layers.length, side, input.threads).map((batch) =>
        pool.run({ ...base, tiles: batch }),
      ),
    );
  };
  try {
    const heights = input.heights ?? heightsOf(layers, work.nz * work.voxelUm[2]);
    const [first, ...others] = input.scales;
    const results = await look([first!], heights);
    if (others.length > 0) {
      const rank = heights.map((height, n) => ({
        height,
        score: Math.max(...results.map((r) => r.bestAt[n]!)),
      }));
      const promising = rank
        .sort((p, q) => q.score - p.score)
        .slice(0, Math.ceil((input.heights ? 1 : SHARE_AT_OTHER_SCALES) * heights.length))
        .map(({ height }) => height);
      results.push(...(await look(others, promising)));
    }
    const top = new TopList(input.keep, input.apart);
    for (const place of results.flatMap((r) => r.found)) top.add(place);
    const best = Array.from({ length: 16 }, (_, n) => Math.max(0, ...results.map((r) => r.best[n]!)));
    return { found: top.best(), best };
  } finally {
    input.signal?.removeEventListener('abort', halt);
    await pool.close();
  }
}

function scaledScan({ work, frame, layout, binUm }: SearchInput, scale: number): ScaledScan {
  const volume = coarseVolume(work, frame, layout.grid.pixel_um / scale, binUm, MOST_ACROSS);
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

/** The smallest transform that wastes little of itself on the rim the scan needs. */
function sideFor(half: number, layout: LayoutPictures): number {
  const most = Math.max(layout.grid.width_px, layout.grid.height_px) + 2 * half;
  let side = 64;
  while (side < 4 * half && side < most) side *= 2;
  return side;
}

function tilesOf({ layout, centresUm }: SearchInput, half: number, side: number): Tile[] {
  const { origin_um: origin, pixel_um: pixel } = layout.grid;
  const usable = side - 2 * half;
  if (usable < 1) throw new RangeError('The tile of the search is smaller than the scan.');
  const c0 = Math.round((centresUm[0] - origin[0]) / pixel);
  const c1 = Math.round((centresUm[2] - origin[0]) / pixel) + 1;
  const r0 = Math.round((origin[1] - centresUm[3]) / pixel);
  const r1 = Math.round((origin[1] - centresUm[1]) / pixel) + 1;
  const tiles: Tile[] = [];
  for (let row = r0; row < r1; row += usable)
    for (let column = c0; column < c1; column += usable)
      tiles.push({
        columns: [column, Math.min(column + usable, c1)],
        rows: [row, Math.min(row + usable, r1)],
      });
  return tiles;
}

/** Even batches, at least one per thread, none too large for a thread's memory. */
function batches(tiles: readonly Tile[], layers: number, side: number, threads: number): Tile[][] {
  const most = Math.max(1, Math.floor(MOST_BYTES / (8 * side * side * layers)));
  const count = Math.min(tiles.length, Math.max(threads, Math.ceil(tiles.length / most)));
  return Array.from({ length: count }, (_, n) =>
    tiles.slice(Math.floor((n * tiles.length) / count), Math.floor(((n + 1) * tiles.length) / count)),
  );
}
