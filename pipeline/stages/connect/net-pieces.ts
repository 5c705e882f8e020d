/** What a net falls into when metal and vias are taken out of it. */
import { type Box, EMPTY_BOX, polygonBox, unionBox } from '../../../shared/polygon.ts';
import { DisjointSets } from '../../kernels/disjoint-sets.ts';
import { layerOf, ringOf, shapeBox } from './collect-shapes.ts';
import type { DrawnNets } from './connect-drawing.ts';
import { convexPieces, cutOut, type Piece, piecesMeet } from './convex-pieces.ts';
import type { Effect } from './effects.ts';
import { areaOf } from './piece-area.ts';

export interface NetPiece {
  /** Shapes of the drawing of which it holds all or a part. */
  readonly shapes: readonly number[];
  readonly layers: ReadonlySet<number>;
  /** In database units, of what may be shown; empty where nothing may. */
  readonly box: Box;
  readonly leavesField: boolean;
  /** It goes on beyond the window, where it may be joined with another piece. */
  readonly leavesWindow: boolean;
}

/** How far apart in database units parts of shapes that are joined in the drawing may come out by rounding. */
const SLACK = 1e-3;

/**
 * The parts of one net that still hang together, largest first, after what the effects take away. Stubs do not count:
 * a part of a cut shape, smaller than the cut, that joins nothing, carries no label and does not leave the field.
 * @param leaves whether a shape reaches out of the field
 */
export function piecesAfter(
  drawn: DrawnNets,
  net: number,
  effects: readonly Effect[],
  leaves: (shape: number) => boolean,
): NetPiece[] {
  const { store, contacts } = drawn;
  const gone = new Set<number>();
  const cuts = new Map<number, Box[]>();
  const bridges: (readonly [number, number])[] = [];
  for (const effect of effects) {
    if (effect.kind === 'removed') for (const n of effect.shapes) gone.add(n);
    else if (effect.kind === 'cut') {
      for (const n of effect.shapes) cuts.set(n, [...(cuts.get(n) ?? []), effect.box]);
    } else bridges.push(effect.shapes);
  }
  const members = drawn.nets[net]!.shapes;
  const nodes: Node[] = [];
  const whole = new Map<number, number>();
  const partsOf = new Map<number, number[]>();
  for (const shape of members) {
    if (gone.has(shape)) continue;
    const boxes = cuts.get(shape);
    if (!boxes) {
      whole.set(shape, nodes.length);
      nodes.push({ shape, piece: null });
      continue;
    }
    const parts = boxes.reduce((pieces, box) => cutOut(pieces, box), convexPieces(ringOf(store, shape)));
    partsOf.set(
      shape,
      parts.map((piece) => nodes.push({ shape, piece }) - 1),
    );
  }
  const sets = new DisjointSets(nodes.length);
  const touching = (a: number, b: number, slack: number) => {
    if (nodesMeet(drawn, nodes[a]!, nodes[b]!, slack)) sets.join(a, b);
  };
  for (const [shape, node] of whole) {
    for (let at = contacts.starts[shape]!; at < contacts.starts[shape + 1]!; at++) {
      const other = whole.get(contacts.neighbours[at]!);
      if (other !== undefined) sets.join(node, other);
    }
  }
  for (const [shape, parts] of partsOf) {
    for (const a of parts) for (const b of parts) if (a < b) touching(a, b, SLACK);
    for (let at = contacts.starts[shape]!; at < contacts.starts[shape + 1]!; at++) {
      const other = contacts.neighbours[at]!;
      const slack = layerOf(store, other) === layerOf(store, shape) ? SLACK : -SLACK;
      const nodesThere = whole.has(other) ? [whole.get(other)!] : (partsOf.get(other) ?? []);
      for (const a of parts) for (const b of nodesThere) touching(a, b, slack);
    }
  }
  for (const [a, b] of bridges) {
    const ends = [a, b].map((shape) => whole.get(shape) ?? partsOf.get(shape)?.[0]);
    if (ends[0] !== undefined && ends[1] !== undefined) sets.join(ends[0], ends[1]);
  }
  return gather(drawn, net, nodes, sets, smallestCut(effects), leaves);
}

interface Node {
  readonly shape: number;
  /** null for a shape that is whole. */
  readonly piece: Piece | null;
}

function nodesMeet(drawn: DrawnNets, a: Node, b: Node, slack: number): boolean {
  const ofNode = (node: Node) => (node.piece ? [node.piece] : convexPieces(ringOf(drawn.store, node.shape)));
  const others = ofNode(b);
  return ofNode(a).some((p) => others.some((q) => piecesMeet(p, q, slack)));
}

const smallestCut = (effects: readonly Effect[]): number =>
  effects.reduce(
    (least, effect) =>
      effect.kind === 'cut'
        ? Math.min(least, (effect.box[2] - effect.box[0]) * (effect.box[3] - effect.box[1]))
        : least,
    Infinity,
  );

function gather(
  drawn: DrawnNets,
  net: number,
  nodes: readonly Node[],
  sets: DisjointSets,
  cutArea: number,
  leaves: (shape: number) => boolean,
): NetPiece[] {
  const { store } = drawn;
  const groups = new Map<number, Node[]>();
  nodes.forEach((node, n) => {
    const root = sets.find(n);
    const group = groups.get(root);
    if (group) group.push(node);
    else groups.set(root, [node]);
  });
  const window = drawn.windowUm.map((v) => v / store.unitUm) as unknown as Box;
  const labels = drawn.labels.filter((label) => label.net === net);
  const found = [...groups.values()].flatMap((group) => {
    const boxOf = (node: Node) => (node.piece ? polygonBox(node.piece) : shapeBox(store, node.shape));
    const boxes = group.map(boxOf);
    const shown = group.filter((node) => !store.hidden[node.shape]).map(boxOf);
    const box = shown.reduce(unionBox, EMPTY_BOX);
    const leavesWindow = boxes.some((b) => reachesOut(b, window));
    const shapes = [...new Set(group.map((node) => node.shape))];
    const cut = group.flatMap((node) => (node.piece ? [node.piece] : []));
    const stub =
      cut.length === group.length &&
      shapes.length === 1 &&
      !leavesWindow &&
      !labels.some(({ at }) => cut.some((piece) => holds(piece, at))) &&
      areaOf(cut, boxes.reduce(unionBox, EMPTY_BOX)) < cutArea;
    if (stub) return [];
    const layers = new Set(shapes.map((shape) => layerOf(store, shape)));
    const leavesField = leavesWindow || group.some((node) => !node.piece && leaves(node.shape));
    return [{ piece: { shapes, layers, box, leavesField, leavesWindow }, nodes: group.length }];
  });
  return found
    .sort((a, b) => b.nodes - a.nodes || a.piece.shapes[0]! - b.piece.shapes[0]!)
    .map(({ piece }) => piece);
}

const reachesOut = (box: Box, window: Box): boolean =>
  box[0] < window[0] || box[1] < window[1] || box[2] > window[2] || box[3] > window[3];

const holds = (piece: Piece, at: readonly [number, number]): boolean =>
  piecesMeet(piece, [at[0] - 0.5, at[1] - 0.5, at[0] + 0.5, at[1] - 0.5, at[0], at[1] + 0.5], 0);
