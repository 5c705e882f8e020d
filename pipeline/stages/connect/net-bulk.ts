/** The shapes of a net that no effect touches, joined once and summed up by part. */
import { type Box, EMPTY_BOX, unionBox } from '../../../shared/polygon.ts';
import { DisjointSets } from '../../kernels/disjoint-sets.ts';
import { layerOf, shapeBox } from './collect-shapes.ts';
import type { DrawnNets } from './connect-drawing.ts';

export const reachesOut = (box: Box, window: Box): boolean =>
  box[0] < window[0] || box[1] < window[1] || box[2] > window[2] || box[3] > window[3];

export class NetBulk {
  /** Parts that the untouched shapes form among themselves. */
  readonly count: number;
  readonly touched: readonly number[];
  /** By part. */
  readonly shapes: number[] = [];
  readonly layers: Set<number>[] = [];
  /** Of what may be shown. */
  readonly boxes: Box[] = [];
  readonly leavesField: boolean[] = [];
  readonly leavesWindow: boolean[] = [];
  readonly leaves: (shape: number) => boolean;
  /** Part of each untouched shape of the net. */
  readonly #part = new Map<number, number>();

  constructor(
    drawn: DrawnNets,
    net: number,
    touched: ReadonlySet<number>,
    window: Box,
    leaves: (shape: number) => boolean,
  ) {
    const { store, contacts, nets } = drawn;
    this.leaves = leaves;
    const members = nets[net]!.shapes;
    this.touched = [...members].filter((shape) => touched.has(shape));
    const untouched = members.filter((shape) => !touched.has(shape));
    const place = new Map<number, number>();
    untouched.forEach((shape, n) => {
      place.set(shape, n);
    });
    const sets = new DisjointSets(untouched.length);
    untouched.forEach((shape, n) => {
      for (let at = contacts.starts[shape]!; at < contacts.starts[shape + 1]!; at++) {
        const other = place.get(contacts.neighbours[at]!);
        if (other !== undefined) sets.join(n, other);
      }
    });
    const labels = sets.labels();
    untouched.forEach((shape, n) => {
      const part = labels[n]!;
      this.#part.set(shape, part);
      const box = shapeBox(store, shape);
      this.layers[part] ??= new Set();
      this.layers[part].add(layerOf(store, shape));
      this.shapes[part] = (this.shapes[part] ?? 0) + 1;
      this.boxes[part] ??= EMPTY_BOX;
      if (!store.hidden[shape]) this.boxes[part] = unionBox(this.boxes[part], box);
      this.leavesField[part] ||= leaves(shape);
      this.leavesWindow[part] ||= reachesOut(box, window);
    });
    this.count = this.shapes.length;
  }

  /** Part of an untouched shape; -1 for a touched one. */
  of(shape: number): number {
    return this.#part.get(shape) ?? -1;
  }
}
