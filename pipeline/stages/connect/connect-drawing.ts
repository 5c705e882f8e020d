/** Drawn nets: what the drawing joins, inside and touching a window of the die. */
import type { Process } from '../../../shared/artefacts/process.ts';
import type { Box } from '../../../shared/polygon.ts';
import type { Layout } from '../../formats/layout.ts';
import { DisjointSets } from '../../kernels/disjoint-sets.ts';
import { ringsJoin } from '../../kernels/rings-touch.ts';
import {
  collectShapes,
  isRectangle,
  netLayers,
  ringOf,
  type ShapeStore,
  shapesMeeting,
} from './collect-shapes.ts';
import { type Contacts, findContacts } from './find-contacts.ts';
import { type NetNaming, nameNets, type PlacedLabel } from './name-nets.ts';
import type { Withheld } from './withheld.ts';

export interface DrawnNets {
  readonly windowUm: Box;
  readonly store: ShapeStore;
  readonly contacts: Contacts;
  /** Number of the net of each shape; net n has the id `n${n + 1}`. */
  readonly netOf: Int32Array;
  readonly nets: readonly DrawnNet[];
  /** Labels of the top cell on the nets. */
  readonly labels: readonly PlacedLabel[];
  readonly doubts: readonly string[];
  /** Numbers of the nets with a shape on a layer that meets a box, edges counted; none for a layer without nets. */
  numbersAt(layer: string, boxUm: Box): number[];
  /** Their names, each once. */
  netsAt(layer: string, boxUm: Box): string[];
}

export interface DrawnNet extends NetNaming {
  readonly id: string;
  /** Numbers of its shapes, rising. */
  readonly shapes: Uint32Array;
}

/**
 * Joins the drawn shapes of a window into nets. Exact on polygons in whole database units. Nets are numbered by their
 * first shape: lowest layer, then southernmost, then westernmost, so that the numbers do not depend on how the file is
 * built. A window cuts nets: what is joined outside only comes out as several nets.
 *
 * @throws RangeError when the layout has no cell `top`
 */
export function connectDrawing(
  layout: Layout,
  top: string,
  process: Process,
  windowUm: Box,
  withheld: Withheld = {},
): DrawnNets {
  const store = collectShapes(layout, top, netLayers(process, withheld), windowUm, withheld);
  const contacts = findContacts(store);
  const sets = new DisjointSets(store.count);
  for (let n = 0; n < store.count; n++) {
    for (let at = contacts.starts[n]!; at < contacts.starts[n + 1]!; at++)
      sets.join(n, contacts.neighbours[at]!);
  }
  const netOf = sets.labels();
  const members = membersOf(netOf);
  const naming = nameNets(layout, top, store, netOf, members, windowUm, withheld);
  const nets = members.map((shapes, n) => ({ id: `n${n + 1}`, shapes, ...naming.nets[n]! }));
  const numbersAt = (layer: string, boxUm: Box) => netNumbersAt(store, netOf, layer, boxUm);
  return {
    windowUm,
    store,
    contacts,
    netOf,
    nets,
    labels: naming.labels,
    doubts: naming.doubts,
    numbersAt,
    netsAt: (layer, boxUm) => [...new Set(numbersAt(layer, boxUm).map((n) => nets[n]!.name))],
  };
}

/** Shapes of each net, views into one array. */
function membersOf(netOf: Int32Array): Uint32Array[] {
  const count = netOf.reduce((most, n) => Math.max(most, n + 1), 0);
  const starts = new Uint32Array(count + 1);
  for (const n of netOf) starts[n + 1]!++;
  for (let n = 0; n < count; n++) starts[n + 1]! += starts[n]!;
  const next = starts.slice();
  const all = new Uint32Array(netOf.length);
  netOf.forEach((net, shape) => {
    all[next[net]!++] = shape;
  });
  return Array.from({ length: count }, (_, n) => all.subarray(starts[n], starts[n + 1]));
}

function netNumbersAt(store: ShapeStore, netOf: Int32Array, layer: string, boxUm: Box): number[] {
  const number = store.layers.findIndex(({ name }) => name === layer);
  if (number < 0) return [];
  const box = boxUm.map((value) => value / store.unitUm) as unknown as Box;
  const found = new Set<number>();
  for (const shape of shapesMeeting(store, number, box)) {
    if (found.has(netOf[shape]!)) continue;
    if (isRectangle(store, shape) || ringMeetsBox(ringOf(store, shape), box)) found.add(netOf[shape]!);
  }
  return [...found].sort((a, b) => a - b);
}

/** A box without area (a point or a line) is asked for as the small square around it. */
const POINT = 1e-3;

function ringMeetsBox(ring: ArrayLike<number>, box: Box): boolean {
  const [x0, y0, x1, y1] = [box[0] - POINT, box[1] - POINT, box[2] + POINT, box[3] + POINT];
  return ringsJoin(ring, [x0, y0, x1, y0, x1, y1, x0, y1]);
}
