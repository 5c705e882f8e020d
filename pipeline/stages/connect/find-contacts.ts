/** Which shapes are joined to which: shapes of one layer that touch, and vias with what they lie on and under. */
import { growBox } from '../../../shared/polygon.ts';
import { ringsJoin, ringsOverlap, ringsWithin } from '../../kernels/rings-touch.ts';
import { isRectangle, ringOf, type ShapeStore, shapeBox, shapesMeeting } from './collect-shapes.ts';

/** Joined pairs of shapes and, for each shape, its neighbours. */
export interface Contacts {
  readonly pairs: number;
  /** Neighbours of shape n: neighbours[starts[n]] .. neighbours[starts[n + 1]]. */
  readonly starts: Uint32Array;
  readonly neighbours: Uint32Array;
}

/** Rounding moves a corner by up to half a diagonal of the database unit. */
const ROUNDING = Math.SQRT1_2;

/**
 * Shapes of one layer are joined where they overlap or share a piece of an edge; a corner alone does not join, since
 * no width of metal is left there. A via is joined to shapes of the layers it joins where their areas overlap. Nothing
 * else joins: the channel of a transistor is not a connection, because only the layers of the process table count.
 * Shapes of cells turned by odd angles, whose corners had to be rounded, count as joined where the rounding alone can
 * have parted them.
 */
export function findContacts(store: ShapeStore): Contacts {
  const found: number[] = [];
  const reach = store.rounded.includes(1) ? 2 : 0;
  store.layers.forEach((layer, number) => {
    for (let n = store.layerStarts[number]!; n < store.layerStarts[number + 1]!; n++) {
      const box = shapeBox(store, n);
      for (const other of shapesMeeting(store, number, growBox(box, reach))) {
        if (other > n && joined(store, n, other, false)) found.push(n, other);
      }
      for (const target of layer.joins) {
        for (const other of shapesMeeting(store, target, box)) {
          if (joined(store, n, other, true)) found.push(n, other);
        }
      }
    }
  });
  return neighbourLists(store.count, found);
}

function joined(store: ShapeStore, a: number, b: number, areaOnly: boolean): boolean {
  const { boxes } = store;
  const width = Math.min(boxes[4 * a + 2]!, boxes[4 * b + 2]!) - Math.max(boxes[4 * a]!, boxes[4 * b]!);
  const height =
    Math.min(boxes[4 * a + 3]!, boxes[4 * b + 3]!) - Math.max(boxes[4 * a + 1]!, boxes[4 * b + 1]!);
  const touching = areaOnly ? width > 0 && height > 0 : width >= 0 && height >= 0 && width + height > 0;
  if (touching) {
    if (isRectangle(store, a) && isRectangle(store, b)) return true;
    const meet = areaOnly ? ringsOverlap : ringsJoin;
    if (meet(ringOf(store, a), ringOf(store, b))) return true;
  }
  const slack = ROUNDING * (store.rounded[a]! + store.rounded[b]!);
  return !areaOnly && slack > 0 && ringsWithin(ringOf(store, a), ringOf(store, b), slack);
}

function neighbourLists(count: number, pairs: readonly number[]): Contacts {
  const starts = new Uint32Array(count + 1);
  for (const n of pairs) starts[n + 1]!++;
  for (let n = 0; n < count; n++) starts[n + 1]! += starts[n]!;
  const next = starts.slice();
  const neighbours = new Uint32Array(pairs.length);
  for (let n = 0; n < pairs.length; n += 2) {
    const [a, b] = [pairs[n]!, pairs[n + 1]!];
    neighbours[next[a]!++] = b;
    neighbours[next[b]!++] = a;
  }
  return { pairs: pairs.length / 2, starts, neighbours };
}
