/** How the work of a search is cut: the side of its transforms, tiles of the drawing, and which thread takes what. */
import type { PlateGrid } from '../../../../shared/frames.ts';
import type { Box } from '../../../../shared/polygon.ts';
import type { Pose, Tile } from './search-task.ts';

export interface SearchPlan {
  readonly side: number;
  readonly parts: readonly { readonly tiles: readonly Tile[]; readonly poses: readonly Pose[] }[];
}

export interface SearchSize {
  readonly centresUm: Box;
  readonly grid: PlateGrid;
  /** Room that the scan needs to every side of a place, pixels. */
  readonly half: number;
  readonly poses: readonly Pose[];
  readonly scales: number;
  readonly layers: number;
  readonly threads: number;
}

/** Sides that are thought of, pixels: smaller ones are all rim, larger ones leave the cache. */
const SIDES = [64, 128, 256, 512] as const;
/** Spectra of tiles that a thread may hold, and the energies beside them, bytes. */
const MOST_BYTES = 160e6;
const BYTES_PER_PIXEL = 12;
/** Layers matched in one pose, about. */
const MATCHED = 7;
/** Time of a product of spectra against that of a transform. */
const PRODUCT = 0.1;
/** Transforms of a layer of a tile before it is used. */
const PREPARATION = 3;

/** The plan that should be done first. */
export function planSearch(size: SearchSize): SearchPlan {
  const least = SIDES.find((side) => side >= 4 * size.half) ?? 2 ** Math.ceil(Math.log2(4 * size.half));
  const sides = [least, 2 * least].filter((side) => side === least || side <= SIDES.at(-1)!);
  const plans = sides.flatMap((side) => {
    const tiles = tilesOf(size.centresUm, size.grid, size.half, side);
    const most = Math.max(1, Math.floor(MOST_BYTES / (BYTES_PER_PIXEL * side * side * size.layers)));
    const few = Math.ceil(tiles.length / most);
    return [few, Math.max(few, size.threads)]
      .map((count) => Math.min(count, tiles.length))
      .flatMap((groups) => [1, size.threads].map((shares) => ({ side, tiles, groups, shares })));
  });
  const { side, tiles, groups, shares } = plans.reduce((best, plan) =>
    costOf(plan, size) < costOf(best, size) ? plan : best,
  );
  return {
    side,
    parts: cut(tiles, groups).flatMap((own) =>
      byHeight(size.poses, shares).map((poses) => ({ tiles: own, poses })),
    ),
  };
}

/** Rounds of all threads times the work of the largest part, in transforms of one pixel. */
function costOf(
  { side, tiles, groups, shares }: { side: number; tiles: readonly Tile[]; groups: number; shares: number },
  { poses, scales, layers, threads }: SearchSize,
): number {
  const own = Math.ceil(tiles.length / groups);
  const preparing = own * layers * PREPARATION;
  const matching = Math.ceil(poses.length / shares) * (MATCHED + own * (1 + MATCHED * PRODUCT));
  const rounds = Math.ceil((groups * shares) / threads);
  return rounds * scales * (preparing + matching) * side * side * Math.log2(side);
}

/** Even tiles that cover all places the middle of the scan may have. */
export function tilesOf(
  centresUm: Box,
  { origin_um: origin, pixel_um: pixel }: PlateGrid,
  half: number,
  side: number,
): Tile[] {
  const usable = side - 2 * half;
  if (usable < 1) throw new RangeError('The tile of the search is smaller than the scan.');
  const columns = evenly(
    Math.round((centresUm[0] - origin[0]) / pixel),
    Math.round((centresUm[2] - origin[0]) / pixel) + 1,
    usable,
  );
  const rows = evenly(
    Math.round((origin[1] - centresUm[3]) / pixel),
    Math.round((origin[1] - centresUm[1]) / pixel) + 1,
    usable,
  );
  return rows.flatMap((row) => columns.map((column) => ({ columns: column, rows: row })));
}

/** Half-open ranges, as few as can be, none longer than allowed. */
function evenly(from: number, to: number, longest: number): (readonly [number, number])[] {
  const count = Math.ceil((to - from) / longest);
  const at = (n: number): number => from + Math.floor((n * (to - from)) / count);
  return Array.from({ length: count }, (_, n) => [at(n), at(n + 1)] as const);
}

function cut<T>(list: readonly T[], count: number): T[][] {
  const at = (n: number): number => Math.floor((n * list.length) / count);
  return Array.from({ length: count }, (_, n) => list.slice(at(n), at(n + 1)));
}

/** Even shares that leave the poses of one height together. */
function byHeight(poses: readonly Pose[], count: number): Pose[][] {
  const shares: Pose[][] = [[]];
  poses.forEach((pose, n) => {
    const last = poses[n - 1];
    const another = last !== undefined && (last.z !== pose.z || last.rising !== pose.rising);
    if (another && n >= (shares.length * poses.length) / count) shares.push([]);
    shares.at(-1)!.push(pose);
  });
  return shares;
}
