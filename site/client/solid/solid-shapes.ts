/** The drawn shapes of a window, layer by layer, from the files in which nets are looked up. */
import { type Box, boxesMeet, intersectBox, isEmptyBox } from '../../../shared/polygon.ts';
import { clipToBox } from '../../lib/clip-to-box.ts';
import type { FlatShape } from '../../lib/extrude.ts';
import { ringOf } from '../../lib/net-shapes.ts';
import type { LitNet, NetData } from '../net-data.ts';

/** More would be slow to turn, and too much to see. */
export const MOST_SHAPES = 30_000;
const MOST_TILES = 25;

export interface SolidShapes {
  /** Micrometres, die frame; smaller than what was asked for where that held too much. */
  readonly windowUm: Box;
  readonly shrunk: boolean;
  /** One list for each layer of the index; micrometres, relative to the middle of the window. */
  readonly layers: readonly (readonly FlatShape[])[];
  readonly count: number;
}

/** @param windowUm die frame @param net alone, where one is given */
export async function gatherShapes(data: NetData, windowUm: Box, net: LitNet | null): Promise<SolidShapes> {
  const traced = data.index.window_um;
  let window = intersectBox(windowUm, traced);
  let shrunk = false;
  if (isEmptyBox(window)) window = [windowUm[0], windowUm[1], windowUm[0], windowUm[1]];
  while (!net && tilesMeeting(data, window).length > MOST_TILES) {
    window = halved(window);
    shrunk = true;
  }
  for (;;) {
    const found = net ? shapesOfNet(data, net, window) : await shapesOfTiles(data, window);
    if (found.count <= MOST_SHAPES || net) return { ...found, windowUm: window, shrunk };
    window = halved(window);
    shrunk = true;
  }
}

/** The middle of a box, half as wide and half as high. */
const halved = ([x0, y0, x1, y1]: Box): Box => [
  (3 * x0 + x1) / 4,
  (3 * y0 + y1) / 4,
  (x0 + 3 * x1) / 4,
  (y0 + 3 * y1) / 4,
];

/** Tiles that a window meets, each with its square in micrometres. */
function tilesMeeting({ index }: NetData, window: Box): { column: number; row: number; square: Box }[] {
  const { origin, side, columns, rows, present } = index.tiles;
  const unit = index.unit_um;
  const found: { column: number; row: number; square: Box }[] = [];
  for (let row = 0; row < rows; row++) {
    for (let column = 0; column < columns; column++) {
      if (present[row * columns + column] !== '1') continue;
      const x = (origin[0] + column * side) * unit;
      const y = (origin[1] + row * side) * unit;
      const square: Box = [x, y, x + side * unit, y + side * unit];
      if (boxesMeet(square, window)) found.push({ column, row, square });
    }
  }
  return found;
}

async function shapesOfTiles(data: NetData, window: Box): Promise<Pick<SolidShapes, 'layers' | 'count'>> {
  const layers: FlatShape[][] = data.index.layers.map(() => []);
  let count = 0;
  const tiles = tilesMeeting(data, window);
  const files = await Promise.all(tiles.map(({ column, row }) => data.tile(column, row)));
  for (const [n, tile] of files.entries()) {
    // Tiles hold more than their square; its edges are cuts that the next tile goes on behind.
    const part = intersectBox(tiles[n]!.square, window);
    if (isEmptyBox(part)) continue;
    for (const { layer, shapes } of tile.layers) {
      for (const shape of shapes) {
        const ring = placed(shape, data.index.unit_um, part, window);
        if (ring.length === 0) continue;
        layers[layer]!.push({ ring, seam: relative(part, window) });
        count++;
      }
    }
  }
  return { layers, count };
}

function shapesOfNet(data: NetData, net: LitNet, window: Box): Pick<SolidShapes, 'layers' | 'count'> {
  const layers: FlatShape[][] = data.index.layers.map(() => []);
  let count = 0;
  for (const { layer, shapes } of net.layers) {
    for (const shape of shapes) {
      const ring = placed(shape, data.index.unit_um, window, window);
      if (ring.length === 0) continue;
      layers[layer]!.push({ ring });
      count++;
    }
  }
  return { layers, count };
}

/** A shape in micrometres, cut to a box, relative to the middle of the window. */
function placed(shape: readonly number[], unit: number, box: Box, window: Box): number[] {
  const ring = clipToBox(
    ringOf(shape).map((value) => value * unit),
    box,
  );
  const [cx, cy] = middleOf(window);
  return ring.map((value, n) => value - (n % 2 === 0 ? cx : cy));
}

export const middleOf = (box: Box): [number, number] => [(box[0] + box[2]) / 2, (box[1] + box[3]) / 2];

export function relative(box: Box, window: Box): Box {
  const [cx, cy] = middleOf(window);
  return [box[0] - cx, box[1] - cy, box[2] - cx, box[3] - cy];
}
