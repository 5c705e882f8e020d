/** What a net falls into when metal and vias are taken out of it. */
import { type Box, EMPTY_BOX, polygonBox, unionBox } from '../../../shared/polygon.ts';
import { DisjointSets } from '../../kernels/disjoint-sets.ts';
import { layerOf, ringOf, shapeBox } from './collect-shapes.ts';
import type { DrawnNets } from './connect-drawing.ts';
import { convexPieces, cutOut, type Piece, piecesMeet } from './convex-pieces.ts';
import type { Effect } from './effects.ts';
import { NetBulk, reachesOut } from './net-bulk.ts';
import { areaOf } from './piece-area.ts';

export interface NetPiece {
  /** How many shapes of the drawing it holds, as a whole or in part. */
  readonly shapes: number;
  readonly layers: ReadonlySet<number>;
  /** In database units, of what may be shown; empty where nothing may. */
  readonly box: Box;
  readonly leavesField: boolean;
  /** It goes on beyond the window, where it may be joined with another piece. */
  readonly leavesWindow: boolean;
}

/** How far apart in database units parts of shapes that are joined in the drawing may come out by rounding. */
const SLACK = 1e-3;

/** A shape that effects touch, or what they leave of it. */
interface Node {
  readonly shape: number;
  /** null for a shape that is whole. */
  readonly piece: Piece | null;
}

/**
 * One net and the effects on it. What no effect touches is joined once, so that each combination of effects costs only
 * the shapes they touch.
 */
export class BrokenNet {
  readonly #drawn: DrawnNets;
  readonly #net: number;
  readonly #bulk: NetBulk;
  readonly #window: Box;
  readonly #parts = new Map<string, Piece[]>();
  readonly #touching = new Map<string, boolean>();

  /** @param leaves whether a shape reaches out of the field */
  constructor(drawn: DrawnNets, net: number, effects: readonly Effect[], leaves: (shape: number) => boolean) {
    this.#drawn = drawn;
    this.#net = net;
    this.#window = drawn.windowUm.map((v) => v / drawn.store.unitUm) as unknown as Box;
    const touched = new Set(effects.flatMap((effect) => [...effect.shapes]));
    this.#bulk = new NetBulk(drawn, net, touched, this.#window, leaves);
  }

  /**
   * The parts that still hang together after some of the effects, largest first. Stubs do not count: a part of a cut
   * shape, smaller than the cut, that joins nothing, carries no label and does not leave the window.
   */
  pieces(effects: readonly Effect[]): NetPiece[] {
    const bulk = this.#bulk;
    const { gone, cuts, bridges } = sorted(effects);
    const nodes: Node[] = [];
    const nodesOf = new Map<number, number[]>();
    for (const shape of bulk.touched) {
      if (gone.has(shape)) continue;
      const boxes = cuts.get(shape);
      const pieces = boxes ? this.#cut(shape, boxes) : [null];
      nodesOf.set(
        shape,
        pieces.map((piece) => bulk.count + nodes.push({ shape, piece }) - 1),
      );
    }
    const sets = new DisjointSets(bulk.count + nodes.length);
    for (const [shape, own] of nodesOf) this.#join(sets, nodes, nodesOf, shape, own);
    for (const ends of bridges) {
      const [a, b] = ends.map((shape) => nodesOf.get(shape)?.[0]);
      if (a !== undefined && b !== undefined) sets.join(a, b);
    }
    return this.#gather(nodes, sets, smallestCut(effects));
  }

  #cut(shape: number, boxes: readonly Box[]): Piece[] {
    const key = `${shape}:${boxes.map((box) => box.join()).join(';')}`;
    let parts = this.#parts.get(key);
    if (!parts) {
      parts = boxes.reduce(
        (pieces, box) => cutOut(pieces, box),
        convexPieces(ringOf(this.#drawn.store, shape)),
      );
      this.#parts.set(key, parts);
    }
    return parts;
  }

  #join(
    sets: DisjointSets,
    nodes: readonly Node[],
    nodesOf: ReadonlyMap<number, readonly number[]>,
    shape: number,
    own: readonly number[],
  ): void {
    const { contacts, store } = this.#drawn;
    const bulk = this.#bulk;
    const at = (node: number): Node => nodes[node - bulk.count]!;
    for (const a of own) for (const b of own) if (a < b && this.#meet(at(a), at(b), SLACK)) sets.join(a, b);
    for (let n = contacts.starts[shape]!; n < contacts.starts[shape + 1]!; n++) {
      const other = contacts.neighbours[n]!;
      const slack = layerOf(store, other) === layerOf(store, shape) ? SLACK : -SLACK;
      const whole = bulk.of(other);
      for (const a of own) {
        if (whole >= 0) {
          if (this.#meet(at(a), { shape: other, piece: null }, slack)) sets.join(a, whole);
        } else {
          for (const b of nodesOf.get(other) ?? []) if (this.#meet(at(a), at(b), slack)) sets.join(a, b);
        }
      }
    }
  }

  /** Whether two nodes touch whose shapes are joined in the drawing, or which are parts of one shape. */
  #meet(a: Node, b: Node, slack: number): boolean {
    if (!a.piece && !b.piece) return true;
    const key = `${a.shape} ${a.piece?.join()}|${b.shape} ${b.piece?.join()}`;
    let met = this.#touching.get(key);
    if (met === undefined) {
      const ofNode = (n: Node) => (n.piece ? [n.piece] : convexPieces(ringOf(this.#drawn.store, n.shape)));
      const others = ofNode(b);
      met = ofNode(a).some((p) => others.some((q) => piecesMeet(p, q, slack)));
      this.#touching.set(key, met);
    }
    return met;
  }

  #gather(nodes: readonly Node[], sets: DisjointSets, cutArea: number): NetPiece[] {
    const bulk = this.#bulk;
    const groups = new Map<number, { parts: number[]; nodes: Node[] }>();
    const groupOf = (n: number) => {
      const root = sets.find(n);
      const group = groups.get(root) ?? { parts: [], nodes: [] };
      groups.set(root, group);
      return group;
    };
    for (let part = 0; part < bulk.count; part++) groupOf(part).parts.push(part);
    nodes.forEach((node, n) => {
      groupOf(bulk.count + n).nodes.push(node);
    });
    return [...groups.values()]
      .filter((group) => group.parts.length > 0 || !this.#isStub(group.nodes, cutArea))
      .map((group) => this.#described(group.parts, group.nodes))
      .sort((a, b) => b.shapes - a.shapes || a.box[1] - b.box[1] || a.box[0] - b.box[0]);
  }

  #isStub(nodes: readonly Node[], cutArea: number): boolean {
    const cut = nodes.flatMap((node) => (node.piece ? [node.piece] : []));
    if (cut.length < nodes.length || nodes.some(({ shape }) => shape !== nodes[0]!.shape)) return false;
    const boxes = cut.map((piece) => polygonBox(piece));
    if (boxes.some((box) => reachesOut(box, this.#window))) return false;
    const labels = this.#drawn.labels.filter(({ net }) => net === this.#net);
    if (labels.some(({ at }) => cut.some((piece) => holds(piece, at)))) return false;
    return areaOf(cut, boxes.reduce(unionBox, EMPTY_BOX)) < cutArea;
  }

  #described(parts: readonly number[], nodes: readonly Node[]): NetPiece {
    const { store } = this.#drawn;
    const bulk = this.#bulk;
    const layers = new Set(parts.flatMap((part) => [...bulk.layers[part]!]));
    let box = parts.reduce((all, part) => unionBox(all, bulk.boxes[part]!), EMPTY_BOX);
    let leavesWindow = parts.some((part) => bulk.leavesWindow[part]);
    let leavesField = parts.some((part) => bulk.leavesField[part]);
    for (const { shape, piece } of nodes) {
      const own = piece ? polygonBox(piece) : shapeBox(store, shape);
      if (!store.hidden[shape]) box = unionBox(box, own);
      layers.add(layerOf(store, shape));
      leavesWindow ||= reachesOut(own, this.#window);
      leavesField ||= !piece && bulk.leaves(shape);
    }
    const shapes =
      parts.reduce((sum, part) => sum + bulk.shapes[part]!, 0) +
      new Set(nodes.map(({ shape }) => shape)).size;
    return { shapes, layers, box, leavesField: leavesField || leavesWindow, leavesWindow };
  }
}

const holds = (piece: Piece, at: readonly [number, number]): boolean =>
  piecesMeet(piece, [at[0] - 0.5, at[1] - 0.5, at[0] + 0.5, at[1] - 0.5, at[0], at[1] + 0.5], 0);

function sorted(effects: readonly Effect[]): {
  gone: Set<number>;
  cuts: Map<number, Box[]>;
  bridges: (readonly [number, number])[];
} {
  const gone = new Set<number>();
  const cuts = new Map<number, Box[]>();
  const bridges: (readonly [number, number])[] = [];
  for (const effect of effects) {
    if (effect.kind === 'removed') for (const n of effect.shapes) gone.add(n);
    else if (effect.kind === 'bridge') bridges.push(effect.shapes);
    else for (const n of effect.shapes) cuts.set(n, [...(cuts.get(n) ?? []), effect.box]);
  }
  return { gone, cuts, bridges };
}

const smallestCut = (effects: readonly Effect[]): number =>
  effects.reduce((least, effect) => {
    if (effect.kind !== 'cut') return least;
    const [x0, y0, x1, y1] = effect.box;
    return Math.min(least, (x1 - x0) * (y1 - y0));
  }, Infinity);
