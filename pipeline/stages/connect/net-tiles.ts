/** Tiles: what lies in one square of the die, shapes with their nets and cell instances. */
import Flatbush from 'flatbush';
import type { NetTile } from '../../../shared/artefacts/net-lookup.ts';
import { type Box, intersectBox } from '../../../shared/polygon.ts';
import { type CellInstance, cellInstancesInWindow } from '../../formats/layout/flatten.ts';
import type { Layout } from '../../formats/layout.ts';
import { clipRing } from '../../kernels/ring-clip.ts';
import { isRectangle, ringOf, type ShapeStore, shapeBox, shapesMeeting } from './collect-shapes.ts';
import type { DrawnNets } from './connect-drawing.ts';
import type { Withheld } from './withheld.ts';

/** Cell instances that meet the window, the holder of each before it. */
export interface PlacedCells {
  readonly cells: readonly { readonly cell: string; readonly parent: number; readonly box: Box }[];
  /** Undefined where there is none. */
  readonly index: Flatbush | undefined;
}

/** Withheld cells are there as outlines: they are named, and what they hold is not. */
export function placeCells(layout: Layout, top: string, windowUm: Box, withheld: Withheld = {}): PlacedCells {
  const cells: { cell: string; parent: number; box: Box }[] = [];
  const holders: number[] = [];
  for (const instance of opened(layout, top, windowUm, withheld)) {
    const depth = instance.cellPath.length - 1;
    const box = instance.boxUm.map((v, k) =>
      (k < 2 ? Math.floor : Math.ceil)(v / layout.dbuUm + (k < 2 ? SLACK : -SLACK)),
    );
    holders[depth] = cells.length;
    cells.push({
      cell: instance.cell,
      parent: depth > 0 ? holders[depth - 1]! : -1,
      box: box as unknown as Box,
    });
  }
  if (cells.length === 0) return { cells, index: undefined };
  const index = new Flatbush(cells.length);
  for (const { box } of cells) index.add(...box);
  index.finish();
  return { cells, index };
}

/** Boxes of micrometres are rounded outwards, but not for the last digit of a division. */
const SLACK = 1e-3;

function* opened(layout: Layout, top: string, windowUm: Box, withheld: Withheld): Generator<CellInstance> {
  const { opens } = withheld;
  for (const instance of cellInstancesInWindow(layout, top, windowUm)) {
    const holders = instance.cellPath.slice(0, -1);
    if (!opens || holders.every((cell, depth) => depth === 0 || opens(cell))) yield instance;
  }
}

/** @returns null where nothing lies in the box */
export function tileOf(
  drawn: DrawnNets,
  placed: PlacedCells,
  box: Box,
  shardsOf: (net: number) => [number, number],
): NetTile | null {
  const { store, netOf, nets } = drawn;
  const places = new Map<number, number>();
  const layers: NetTile['layers'] = [];
  store.layers.forEach((_, layer) => {
    const part: NetTile['layers'][number] = { layer, nets: [], shapes: [] };
    for (const shape of shapesMeeting(store, layer, box).sort((a, b) => a - b)) {
      const cut = store.hidden[shape] ? null : cutTo(store, shape, box);
      if (!cut) continue;
      const net = netOf[shape]!;
      if (!places.has(net)) places.set(net, places.size);
      part.nets.push(places.get(net)!);
      part.shapes.push(cut);
    }
    if (part.shapes.length > 0) layers.push(part);
  });
  const found = placed.index?.search(...box).sort((a, b) => a - b) ?? [];
  const cellPlaces = new Map(found.map((cell, n) => [cell, n]));
  if (layers.length === 0 && found.length === 0) return null;
  return {
    version: 1,
    nets: [...places.keys()].map((net) => ({
      id: nets[net]!.id,
      name: nets[net]!.name,
      shards: shardsOf(net),
    })),
    layers,
    cells: found.map((n) => {
      const { cell, parent, box: around } = placed.cells[n]!;
      return { cell, parent: parent < 0 ? -1 : cellPlaces.get(parent)!, box: [...around] };
    }),
  };
}

/** A shape inside a box, whole numbers; null where only an edge is left. */
function cutTo(store: ShapeStore, shape: number, box: Box): number[] | null {
  const own = shapeBox(store, shape);
  if (isRectangle(store, shape)) {
    const part = intersectBox(own, box);
    return part[2] > part[0] && part[3] > part[1] ? [...part] : null;
  }
  const ring = ringOf(store, shape);
  const whole = box[0] <= own[0] && box[1] <= own[1] && box[2] >= own[2] && box[3] >= own[3];
  const part = whole ? Array.from(ring) : clipRing(ring, box).map((v) => Math.round(v) + 0);
  return part.length >= 6 ? part : null;
}
