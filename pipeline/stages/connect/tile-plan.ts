/** Square tiles over the window of the nets, so that one small file answers what lies under a point. */
import type { Box } from '../../../shared/polygon.ts';

export interface TilePlan {
  /** South-west corner of tile 0_0, side and margin, all in whole database units. */
  readonly origin: readonly [number, number];
  readonly side: number;
  readonly margin: number;
  readonly columns: number;
  readonly rows: number;
}

/** Shapes per tile that keep a tile near 20 kB. */
const SHAPES_PER_TILE = 400;
const MOST_TILES = 10_000;
/** The window comes from a division: it is not made larger by the last digits. */
const SLACK = 1e-3;

/**
 * @param windowDbu window in database units
 * @param marginDbu how far beyond its square a tile holds shapes
 */
export function planTiles(windowDbu: Box, shapes: number, marginDbu: number): TilePlan {
  const origin: [number, number] = [Math.floor(windowDbu[0] + SLACK), Math.floor(windowDbu[1] + SLACK)];
  const width = Math.max(1, Math.ceil(windowDbu[2] - SLACK) - origin[0]);
  const height = Math.max(1, Math.ceil(windowDbu[3] - SLACK) - origin[1]);
  const wanted = Math.min(MOST_TILES, Math.max(1, shapes / SHAPES_PER_TILE));
  const side = Math.max(1, Math.ceil(Math.sqrt((width * height) / wanted)));
  // One more than needed where the window ends on a tile's edge: a point on that edge still has a tile.
  const columns = Math.floor(width / side) + 1;
  const rows = Math.floor(height / side) + 1;
  return { origin, side, margin: Math.ceil(marginDbu), columns, rows };
}

/** Square of a tile grown by the margin. */
export function tileBox(plan: TilePlan, column: number, row: number): Box {
  const [x, y] = [plan.origin[0] + column * plan.side, plan.origin[1] + row * plan.side];
  return [x - plan.margin, y - plan.margin, x + plan.side + plan.margin, y + plan.side + plan.margin];
}
