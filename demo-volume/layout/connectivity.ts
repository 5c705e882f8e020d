/**
 * Which shapes are joined to which, by the plainest means: shapes of one layer that touch are one conductor, and a
 * via joins what it touches above and below. Used to check the drawing and to name the nets that a fault meets.
 */
import type { StackLayer } from '../process-stack.ts';
import { type FlatLabel, type FlatLayout, ringBox } from './flatten.ts';
import type { Ring } from './library.ts';

export interface ConductorShape {
  readonly layer: string;
  readonly ring: Ring;
  readonly box: readonly [number, number, number, number];
}

export interface Connectivity {
  readonly shapes: readonly ConductorShape[];
  /** Conductor number of each shape; equal numbers are joined. */
  readonly conductor: Int32Array;
  /** Label texts that lie on each conductor. */
  readonly names: ReadonlyMap<number, readonly string[]>;
  /** Indices of the shapes of a layer whose box meets the given one. */
  near(layer: string, box: readonly [number, number, number, number]): number[];
}

/** True where the point lies inside or on the ring. @source even-odd ray crossing, common practice. */
export function ringHolds(ring: Ring, x: number, y: number): boolean {
  let inside = false;
  for (let i = 0, j = ring.length - 2; i < ring.length; j = i, i += 2) {
    const [xi, yi, xj, yj] = [ring[i], ring[i + 1], ring[j], ring[j + 1]] as [number, number, number, number];
    const cross = (xj - xi) * (y - yi) - (yj - yi) * (x - xi);
    const within = (x - xi) * (x - xj) <= 0 && (y - yi) * (y - yj) <= 0;
    if (Math.abs(cross) < 1e-9 && within) return true;
    if (yi > y !== yj > y && x < ((xj - xi) * (y - yi)) / (yj - yi) + xi) inside = !inside;
  }
  return inside;
}

function edgesCross(a: Ring, b: Ring): boolean {
  for (let i = 0, p = a.length - 2; i < a.length; p = i, i += 2) {
    const [ax, ay, bx, by] = [a[p], a[p + 1], a[i], a[i + 1]] as [number, number, number, number];
    for (let j = 0, q = b.length - 2; j < b.length; q = j, j += 2) {
      const [cx, cy, dx, dy] = [b[q], b[q + 1], b[j], b[j + 1]] as [number, number, number, number];
      const d1 = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax);
      const d2 = (bx - ax) * (dy - ay) - (by - ay) * (dx - ax);
      const d3 = (dx - cx) * (ay - cy) - (dy - cy) * (ax - cx);
      const d4 = (dx - cx) * (by - cy) - (dy - cy) * (bx - cx);
      if (d1 * d2 < 0 && d3 * d4 < 0) return true;
    }
  }
  return false;
}

const isRect = (ring: Ring): boolean => {
  if (ring.length !== 8) return false;
  const [x0, y0, x1, y1] = ringBox(ring);
  for (let i = 0; i < 8; i += 2) {
    const onX = ring[i] === x0 || ring[i] === x1;
    const onY = ring[i + 1] === y0 || ring[i + 1] === y1;
    if (!onX || !onY) return false;
  }
  return true;
};

const NEAR_UM = 1e-6;

/** True where two shapes share a point. */
export function shapesTouch(a: ConductorShape, b: ConductorShape): boolean {
  const [ax0, ay0, ax1, ay1] = a.box;
  const [bx0, by0, bx1, by1] = b.box;
  if (ax0 > bx1 + NEAR_UM || bx0 > ax1 + NEAR_UM || ay0 > by1 + NEAR_UM || by0 > ay1 + NEAR_UM) return false;
  if (isRect(a.ring) && isRect(b.ring)) return true;
  for (let i = 0; i < a.ring.length; i += 2)
    if (ringHolds(b.ring, a.ring[i] as number, a.ring[i + 1] as number)) return true;
  for (let i = 0; i < b.ring.length; i += 2)
    if (ringHolds(a.ring, b.ring[i] as number, b.ring[i + 1] as number)) return true;
  return edgesCross(a.ring, b.ring);
}

const CELL_UM = 1;

class BoxGrid {
  readonly #bins = new Map<string, number[]>();
  readonly #shapes: readonly ConductorShape[];
  constructor(shapes: readonly ConductorShape[]) {
    this.#shapes = shapes;
    shapes.forEach((shape, i) => {
      for (const key of this.#keys(shape.layer, shape.box)) {
        const bin = this.#bins.get(key);
        if (bin) bin.push(i);
        else this.#bins.set(key, [i]);
      }
    });
  }
  *#keys(layer: string, box: readonly number[]): Generator<string> {
    const [x0, y0, x1, y1] = box.map((v) => Math.floor(v / CELL_UM)) as [number, number, number, number];
    for (let y = y0; y <= y1; y++) for (let x = x0; x <= x1; x++) yield `${layer}:${x}:${y}`;
  }
  find(layer: string, box: readonly [number, number, number, number]): number[] {
    const found = new Set<number>();
    const grown = [box[0] - NEAR_UM, box[1] - NEAR_UM, box[2] + NEAR_UM, box[3] + NEAR_UM];
    for (const key of this.#keys(layer, grown))
      for (const i of this.#bins.get(key) ?? []) {
        const b = (this.#shapes[i] as ConductorShape).box;
        if (
          b[0] <= (grown[2] as number) &&
          b[2] >= (grown[0] as number) &&
          b[1] <= (grown[3] as number) &&
          b[3] >= (grown[1] as number)
        )
          found.add(i);
      }
    return [...found];
  }
}

/** Via layers with the conductors that they join: the nearest below and above in the stack. */
function joinedLayers(stack: readonly StackLayer[]): { via: string; joins: string[] }[] {
  const out: { via: string; joins: string[] }[] = [];
  stack.forEach((layer, i) => {
    if (layer.role !== 'via') return;
    const below = stack.slice(0, i).findLast((l) => l.role === 'conductor');
    const above = stack.slice(i + 1).find((l) => l.role === 'conductor');
    out.push({
      via: layer.name,
      joins: [below?.name, above?.name].filter((n): n is string => n !== undefined),
    });
  });
  return out;
}

/** Joins the flat shapes of a stack's layers; fill shapes are left out, they are joined to nothing. */
export function findConductors(flat: FlatLayout, stack: readonly StackLayer[]): Connectivity {
  const shapes: ConductorShape[] = [];
  for (const layer of stack)
    for (const drawn of layer.drawn)
      for (const ring of flat.rings.get(drawn) ?? [])
        shapes.push({ layer: layer.name, ring, box: ringBox(ring) });
  const grid = new BoxGrid(shapes);
  const parent = Int32Array.from(shapes, (_, i) => i);
  const root = (i: number): number => {
    let at = i;
    while (parent[at] !== at) {
      parent[at] = parent[parent[at] as number] as number;
      at = parent[at] as number;
    }
    return at;
  };
  const joins = new Map(joinedLayers(stack).map((j) => [j.via, j.joins]));
  shapes.forEach((shape, i) => {
    for (const layer of [shape.layer, ...(joins.get(shape.layer) ?? [])])
      for (const j of grid.find(layer, shape.box))
        if (j !== i && root(i) !== root(j) && shapesTouch(shape, shapes[j] as ConductorShape))
          parent[root(i)] = root(j);
  });
  const conductor = Int32Array.from(shapes, (_, i) => root(i));
  return {
    shapes,
    conductor,
    names: nameConductors(flat.labels, stack, shapes, conductor, grid),
    near: (layer, box) => grid.find(layer, box),
  };
}

function nameConductors(
  labels: readonly FlatLabel[],
  stack: readonly StackLayer[],
  shapes: readonly ConductorShape[],
  conductor: Int32Array,
  grid: BoxGrid,
): Map<number, string[]> {
  const layerOf = new Map(stack.flatMap((l) => l.labels.map((pair) => [pair, l.name] as const)));
  const names = new Map<number, string[]>();
  const depths = new Map<number, number>();
  // A cell's own pin names say nothing about the chip's nets: the labels nearest the top name a conductor.
  for (const label of [...labels].sort((a, b) => a.depth - b.depth)) {
    const layer = layerOf.get(label.layer);
    if (layer === undefined) continue;
    for (const i of grid.find(layer, [label.x, label.y, label.x, label.y])) {
      if (!ringHolds((shapes[i] as ConductorShape).ring, label.x, label.y)) continue;
      const id = conductor[i] as number;
      if ((depths.get(id) ?? label.depth) < label.depth) break;
      depths.set(id, label.depth);
      const list = names.get(id) ?? [];
      if (!list.includes(label.text)) list.push(label.text);
      names.set(id, list);
      break;
    }
  }
  return names;
}
