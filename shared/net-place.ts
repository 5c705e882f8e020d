/**
 * What lies under a die point, from the files of `artefacts/net-lookup.ts`. In a file of its own, so that a browser
 * need not load the schemas.
 */
import type { NetIndex, NetTile } from './artefacts/net-lookup.ts';
import { type FlatPolygon, windingNumber } from './polygon.ts';

/** Column and row of the tile that holds a die point; null where there is none, or it is empty. */
export function tileAt(
  index: Pick<NetIndex, 'unit_um' | 'tiles'>,
  xUm: number,
  yUm: number,
): { column: number; row: number } | null {
  const { origin, side, columns, rows, present } = index.tiles;
  const column = Math.floor((xUm / index.unit_um - origin[0]) / side);
  const row = Math.floor((yUm / index.unit_um - origin[1]) / side);
  if (!(column >= 0 && row >= 0 && column < columns && row < rows)) return null;
  return present[row * columns + column] === '1' ? { column, row } : null;
}

export const tileFile = (index: Pick<NetIndex, 'tiles'>, column: number, row: number): string =>
  index.tiles.path.replace('{column}', String(column)).replace('{row}', String(row));

export const shardFile = (index: Pick<NetIndex, 'shards'>, shard: number): string =>
  index.shards.path.replace('{shard}', String(shard));

/**
 * The net on one layer under a die point, or the nearest within a tolerance.
 * @param layer number into index.layers
 * @param toleranceUm at most the margin of the tiles, beyond which nothing is known
 */
export function netAt(
  index: Pick<NetIndex, 'unit_um'>,
  tile: NetTile,
  layer: number,
  xUm: number,
  yUm: number,
  toleranceUm = 0,
): NetTile['nets'][number] | null {
  const x = xUm / index.unit_um;
  const y = yUm / index.unit_um;
  let best = -1;
  let nearest = toleranceUm / index.unit_um;
  for (const part of tile.layers) {
    if (part.layer !== layer) continue;
    for (let n = 0; n < part.shapes.length; n++) {
      const distance = distanceTo(part.shapes[n]!, x, y);
      if (distance < nearest || (distance === nearest && best < 0)) {
        nearest = distance;
        best = part.nets[n]!;
      }
    }
  }
  return best < 0 ? null : tile.nets[best]!;
}

/** Instances whose boxes hold a die point, deepest first, each with the names of the cells from the top cell down. */
export function cellsAt(
  index: Pick<NetIndex, 'unit_um'>,
  tile: NetTile,
  xUm: number,
  yUm: number,
): { cell: string; path: string[]; boxUm: [number, number, number, number] }[] {
  const unit = index.unit_um;
  const found = tile.cells.filter(
    ({ box }) => box[0] * unit <= xUm && xUm <= box[2] * unit && box[1] * unit <= yUm && yUm <= box[3] * unit,
  );
  return found
    .map(({ cell, parent, box }) => {
      const path = [cell];
      for (let at = parent; at >= 0; at = tile.cells[at]!.parent) path.unshift(tile.cells[at]!.cell);
      return { cell, path, boxUm: box.map((v) => v * unit) as [number, number, number, number] };
    })
    .sort((a, b) => b.path.length - a.path.length);
}

/** Distance of a point from a shape as tiles and shards hold it; 0 inside and on the edge. */
function distanceTo(shape: FlatPolygon, x: number, y: number): number {
  if (shape.length === 4) {
    const dx = Math.max(shape[0]! - x, x - shape[2]!, 0);
    const dy = Math.max(shape[1]! - y, y - shape[3]!, 0);
    return Math.hypot(dx, dy);
  }
  if (windingNumber(shape, x, y) !== 0) return 0;
  let least = Infinity;
  for (let n = 0, m = shape.length - 2; n < shape.length; m = n, n += 2) {
    const [ax, ay, bx, by] = [shape[m]!, shape[m + 1]!, shape[n]!, shape[n + 1]!];
    const [ux, uy] = [bx - ax, by - ay];
    const square = ux * ux + uy * uy;
    const along = square > 0 ? Math.min(1, Math.max(0, ((x - ax) * ux + (y - ay) * uy) / square)) : 0;
    least = Math.min(least, Math.hypot(ax + along * ux - x, ay + along * uy - y));
  }
  return least;
}

/** Rings of a shape's outline as die micrometres: x0, y0, x1, y1, ... for rectangles as for polygons. */
export function outlineUm(shape: readonly number[], unitUm: number): number[] {
  const ring =
    shape.length === 4
      ? [shape[0]!, shape[1]!, shape[2]!, shape[1]!, shape[2]!, shape[3]!, shape[0]!, shape[3]!]
      : shape;
  return ring.map((value) => value * unitUm);
}
