/** The drawn shapes that can be part of a net, in whole database units. */
import Flatbush from 'flatbush';
import { joinedConductors, layersUpward, type Process } from '../../../shared/artefacts/process.ts';
import { type Box, polygonBox } from '../../../shared/polygon.ts';
import { visitShapesInWindow } from '../../formats/layout/flatten.ts';
import type { DrawnLayer, Layout } from '../../formats/layout.ts';
import { cleanRing, rectangleOf } from '../../kernels/ring-clip.ts';
import { isHidden, type Withheld } from './withheld.ts';

/** A layer whose shapes make nets: a conductor, or a via that joins conductors. */
export interface NetLayer {
  readonly name: string;
  readonly role: 'conductor' | 'via';
  readonly bottomUm: number;
  readonly topUm: number;
  readonly drawn: readonly DrawnLayer[];
  /** Drawn layers whose labels name what lies under their anchors on this layer. */
  readonly labels: readonly DrawnLayer[];
  /** For a via, the numbers of the layers it joins. */
  readonly joins: readonly number[];
}

/** Shapes in the order of layers (from the silicon up), then south to north, then west to east. */
export interface ShapeStore {
  readonly count: number;
  readonly layers: readonly NetLayer[];
  /** Layer n holds the shapes layerStarts[n] .. layerStarts[n + 1]. */
  readonly layerStarts: Uint32Array;
  /** x0, y0, x1, y1 of each shape, whole database units. */
  readonly boxes: Float64Array;
  /** Corners of a shape that is no upright rectangle: ringStarts[n] .. ringStarts[n + 1]; none for a rectangle. */
  readonly ringStarts: Uint32Array;
  readonly ringXy: Float64Array;
  /** 1 where corners did not lie on whole database units (cells turned by odd angles) and were rounded. */
  readonly rounded: Uint8Array;
  /** 1 where a shape may not be shown: it joins like any other, but no file says where it is. */
  readonly hidden: Uint8Array;
  /** One index of boxes per layer; undefined for a layer without shapes. */
  readonly index: readonly (Flatbush | undefined)[];
  readonly unitUm: number;
}

/** Conductors and vias of the process that have drawn layers, from the silicon up; fill layers are left out. */
export function netLayers(process: Process, withheld: Withheld = {}): NetLayer[] {
  const upward = layersUpward(process).filter((layer) => layer.role !== 'other');
  const kept = upward.flatMap((layer) => {
    const fill = new Set(layer.fill ?? []);
    const drawn = layer.drawn.filter((d) => !fill.has(d) && !withheld.drawn?.has(d)) as DrawnLayer[];
    return drawn.length > 0 ? [{ layer, drawn }] : [];
  });
  const numbers = new Map(kept.map(({ layer }, n) => [layer.name, n]));
  return kept.map(({ layer, drawn }) => ({
    name: layer.name,
    role: layer.role as NetLayer['role'],
    bottomUm: layer.bottom_um,
    topUm: layer.bottom_um + layer.thickness_um,
    drawn,
    labels: [...new Set([...((layer.labels ?? []) as DrawnLayer[]), ...drawn])].filter(
      (d) => !withheld.drawn?.has(d),
    ),
    joins:
      layer.role === 'via' ? joinedConductors(process, layer).flatMap((name) => numbers.get(name) ?? []) : [],
  }));
}

/** How far from a whole database unit a corner may lie and still count as on it. */
const ON_GRID = 1e-3;

/** @throws RangeError when the layout has no cell `top` */
export function collectShapes(
  layout: Layout,
  top: string,
  layers: readonly NetLayer[],
  windowUm: Box,
  withheld: Withheld = {},
): ShapeStore {
  const unitUm = layout.dbuUm;
  const found = layers.map((layer) => layerShapes(layout, top, layer, windowUm, withheld));
  const count = found.reduce((sum, list) => sum + list.length, 0);
  const layerStarts = new Uint32Array(layers.length + 1);
  const boxes = new Float64Array(4 * count);
  const ringStarts = new Uint32Array(count + 1);
  const rounded = new Uint8Array(count);
  const hidden = new Uint8Array(count);
  const ringXy = new Float64Array(found.flat().reduce((sum, s) => sum + s.ring.length, 0));
  let n = 0;
  let at = 0;
  found.forEach((list, layer) => {
    for (const shape of list) {
      boxes.set(shape.box, 4 * n);
      ringXy.set(shape.ring, at);
      at += shape.ring.length;
      rounded[n] = shape.rounded ? 1 : 0;
      hidden[n] = isHidden(withheld, shape.box.map((v) => v * unitUm) as unknown as Box) ? 1 : 0;
      ringStarts[++n] = at;
    }
    layerStarts[layer + 1] = n;
  });
  const index = layers.map((_, layer) => indexOf(boxes, layerStarts[layer]!, layerStarts[layer + 1]!));
  return { count, layers, layerStarts, boxes, ringStarts, ringXy, rounded, hidden, index, unitUm };
}

interface Collected {
  readonly box: Box;
  readonly ring: readonly number[];
  readonly rounded: boolean;
}

function layerShapes(
  layout: Layout,
  top: string,
  layer: NetLayer,
  windowUm: Box,
  withheld: Withheld,
): Collected[] {
  const perUm = 1 / layout.dbuUm;
  const list: Collected[] = [];
  const options = withheld.opens ? { opens: withheld.opens } : {};
  visitShapesInWindow(
    layout,
    top,
    windowUm,
    new Set(layer.drawn),
    (_, xyUm, vertices) => {
      const ring = new Array<number>(2 * vertices);
      let rounded = false;
      for (let k = 0; k < ring.length; k++) {
        const exact = xyUm[k]! * perUm;
        const whole = Math.round(exact);
        if (Math.abs(exact - whole) > ON_GRID) rounded = true;
        ring[k] = whole + 0;
      }
      const clean = cleanRing(ring);
      if (clean.length === 0) return;
      const rectangle = rectangleOf(clean);
      list.push(
        rectangle ? { box: rectangle, ring: [], rounded } : { box: polygonBox(clean), ring: clean, rounded },
      );
    },
    options,
  );
  return list.sort(southWestFirst);
}

/** An order that does not depend on how the file is built; equal boxes are told apart by their corners. */
function southWestFirst(a: Collected, b: Collected): number {
  const [p, q] = [a.box, b.box];
  const order = p[1] - q[1] || p[0] - q[0] || p[2] - q[2] || p[3] - q[3] || a.ring.length - b.ring.length;
  if (order !== 0) return order;
  for (let n = 0; n < a.ring.length; n++) if (a.ring[n] !== b.ring[n]) return a.ring[n]! - b.ring[n]!;
  return 0;
}

function indexOf(boxes: Float64Array, from: number, to: number): Flatbush | undefined {
  if (to === from) return undefined;
  const index = new Flatbush(to - from);
  for (let n = from; n < to; n++) {
    index.add(boxes[4 * n]!, boxes[4 * n + 1]!, boxes[4 * n + 2]!, boxes[4 * n + 3]!);
  }
  index.finish();
  return index;
}

/** Numbers of the shapes on a layer whose boxes meet a box in database units, corners and edges counted. */
export function shapesMeeting(store: ShapeStore, layer: number, box: Box): number[] {
  const from = store.layerStarts[layer]!;
  const index = store.index[layer];
  return index ? index.search(box[0], box[1], box[2], box[3]).map((n) => n + from) : [];
}

export const shapeBox = (store: ShapeStore, n: number): Box => [
  store.boxes[4 * n]!,
  store.boxes[4 * n + 1]!,
  store.boxes[4 * n + 2]!,
  store.boxes[4 * n + 3]!,
];

export const isRectangle = (store: ShapeStore, n: number): boolean =>
  store.ringStarts[n] === store.ringStarts[n + 1];

/** Outline of a shape, four corners for a rectangle. */
export function ringOf(store: ShapeStore, n: number): ArrayLike<number> {
  if (!isRectangle(store, n)) return store.ringXy.subarray(store.ringStarts[n], store.ringStarts[n + 1]);
  const [x0, y0, x1, y1] = shapeBox(store, n);
  return [x0, y0, x1, y0, x1, y1, x0, y1];
}

export function layerOf(store: ShapeStore, n: number): number {
  let low = 0;
  let high = store.layers.length;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (store.layerStarts[middle]! <= n) low = middle;
    else high = middle;
  }
  return low;
}
