/** What findings do to the drawn connections: metal taken away, vias taken away, metal between two conductors. */
import type { Findings } from '../../../shared/artefacts/findings.ts';
import { type Box, growBox, intersectBox, isEmptyBox, signedArea } from '../../../shared/polygon.ts';
import { DisjointSets } from '../../kernels/disjoint-sets.ts';
import { clipRing } from '../../kernels/ring-clip.ts';
import { ringOf, type ShapeStore, shapeBox, shapesMeeting } from './collect-shapes.ts';
import type { DrawnNets } from './connect-drawing.ts';
import { convexPieces, type Piece, piecesMeet, stretchAt } from './convex-pieces.ts';
import { areaOf } from './piece-area.ts';

export type Finding = Findings['findings'][number];

export type Effect =
  | {
      readonly kind: 'removed';
      readonly finding: Finding;
      readonly net: number;
      readonly shapes: readonly number[];
    }
  | {
      readonly kind: 'cut';
      readonly finding: Finding;
      readonly net: number;
      /** Shapes that the cut meets; all of one layer. */
      readonly shapes: readonly number[];
      readonly box: Box;
    }
  | { readonly kind: 'bridge'; readonly finding: Finding; readonly shapes: readonly [number, number] };

/** Share of the width that missing metal must reach over before the conductor counts as parted there. */
const PARTED = 0.7;

/** @returns null where the finding changes no connection, or meets nothing drawn */
export function effectOf(drawn: DrawnNets, finding: Finding): Effect | null {
  const { store } = drawn;
  const layer = store.layers.findIndex(({ name }) => name === finding.layer);
  if (layer < 0) return null;
  const box = finding.box_um.map((v) => v / store.unitUm) as unknown as Box;
  const isVia = store.layers[layer]!.role === 'via';
  switch (finding.kind) {
    case 'missing-via':
    case 'missing-shape':
    case 'open':
      return isVia ? viaRemoved(drawn, finding, layer, box) : metalCut(drawn, finding, layer, box);
    case 'bridge':
      return isVia ? extraVia(drawn, finding, layer, box) : bridge(drawn, finding, layer, box);
    case 'extra-via':
      return extraVia(drawn, finding, layer, box);
    default:
      return null;
  }
}

function viaRemoved(drawn: DrawnNets, finding: Finding, layer: number, box: Box): Effect | null {
  const { store } = drawn;
  const [cx, cy] = [(box[0] + box[2]) / 2, (box[1] + box[3]) / 2];
  const shapes = shapesMeeting(store, layer, box).filter((n) => {
    const own = shapeBox(store, n);
    const common = intersectBox(own, box);
    const share = isEmptyBox(common) ? 0 : sizeOf(common) / sizeOf(own);
    return share >= 0.5 || (own[0] <= cx && cx <= own[2] && own[1] <= cy && cy <= own[3]);
  });
  if (shapes.length === 0) return null;
  const net = drawn.netOf[shapes[0]!]!;
  return { kind: 'removed', finding, net, shapes: shapes.filter((n) => drawn.netOf[n] === net) };
}

const sizeOf = (box: Box): number => (box[2] - box[0]) * (box[3] - box[1]);

/**
 * The stretch of the conductor that is gone: the finding's box, reaching across the whole width of the metal there,
 * since the box of an image feature ends where the blur hides the rest. Metal that is only partly gone across its
 * width still conducts, unless the finding says that the conductor is broken.
 */
function metalCut(drawn: DrawnNets, finding: Finding, layer: number, box: Box): Effect | null {
  const { store } = drawn;
  const net = netMostIn(drawn, layer, box, finding.nets);
  if (net === null) return null;
  const near = growBox(box, Math.max(box[2] - box[0], box[3] - box[1]));
  const shapes = shapesMeeting(store, layer, near).filter((n) => drawn.netOf[n] === net);
  const pieces = shapes.flatMap((n) => convexPieces(ringOf(store, n)));
  const [x, y] = metalPoint(pieces, box);
  const level = stretchAt(pieces, x, y, 0);
  const upright = stretchAt(pieces, x, y, 1);
  if (!level || !upright) return null;
  const across = level[1] - level[0] < upright[1] - upright[0] ? 0 : 1;
  const [low, high] = across === 0 ? level : upright;
  const share = (Math.min(high, box[across + 2]!) - Math.max(low, box[across]!)) / (high - low);
  if (finding.kind !== 'open' && share < PARTED) return null;
  // Where a branch leaves the wire the metal goes on and on: no farther than the box is long.
  const reach = Math.max(box[2] - box[0], box[3] - box[1]);
  const slab: [number, number, number, number] = [...box];
  slab[across] -= reach;
  slab[across + 2]! += reach;
  const [from, to] = extentIn(pieces, slab, box, across);
  const cut: [number, number, number, number] = [...box];
  cut[across] = Math.min(box[across]!, from) - BEYOND;
  cut[across + 2] = Math.max(box[across + 2]!, to) + BEYOND;
  const met = shapes.filter((n) => areaOf(convexPieces(ringOf(store, n)), cut) > 0);
  return { kind: 'cut', finding, net, shapes: met, box: cut };
}

/** How far a cut reaches beyond the metal in database units, so that rounding leaves no thread. */
const BEYOND = 1e-3;

/** Extent along one axis of the metal in a slab that hangs together with metal in a box inside it. */
function extentIn(pieces: readonly Piece[], slab: Box, box: Box, axis: 0 | 1): [number, number] {
  const parts = pieces.map((piece) => clipRing(piece, slab)).filter((part) => part.length >= 6);
  const sets = new DisjointSets(parts.length);
  parts.forEach((a, n) => {
    for (let m = 0; m < n; m++) if (piecesMeet(a, parts[m]!, BEYOND)) sets.join(n, m);
  });
  const inBox = new Set(parts.flatMap((part, n) => (areaOf([part], box) > 0 ? [sets.find(n)] : [])));
  const values = parts.flatMap((part, n) =>
    inBox.has(sets.find(n)) ? part.filter((_, k) => k % 2 === axis) : [],
  );
  return [Math.min(...values), Math.max(...values)];
}

/** The net with most metal in a box, by area; among those that the finding names, where it names any that are there. */
function netMostIn(drawn: DrawnNets, layer: number, box: Box, named: readonly string[]): number | null {
  const areas = new Map<number, number>();
  for (const n of shapesMeeting(drawn.store, layer, box)) {
    const area = areaOf(convexPieces(ringOf(drawn.store, n)), box);
    if (area > 0) areas.set(drawn.netOf[n]!, (areas.get(drawn.netOf[n]!) ?? 0) + area);
  }
  const known = [...areas].filter(([net]) => named.includes(drawn.nets[net]!.name));
  const among = known.length > 0 ? known : [...areas];
  return among.sort((a, b) => b[1] - a[1] || a[0] - b[0])[0]?.[0] ?? null;
}

/** A point in the metal and in the box, the middle of the box where that is metal. */
function metalPoint(pieces: readonly Piece[], box: Box): [number, number] {
  const middle: [number, number] = [(box[0] + box[2]) / 2, (box[1] + box[3]) / 2];
  if (stretchAt(pieces, ...middle, 0)) return middle;
  let best = middle;
  let largest = 0;
  for (const piece of pieces) {
    const common = clipRing(piece, box);
    const area = Math.abs(signedArea(common));
    if (area <= largest) continue;
    largest = area;
    // The mean of the corners of something convex lies inside it.
    const corners = common.length / 2;
    best = [0, 1].map(
      (axis) => common.reduce((sum, v, n) => sum + (n % 2 === axis ? v : 0), 0) / corners,
    ) as [number, number];
  }
  return best;
}

/** How often the search for a second conductor is widened, each time by a quarter of the finding's longer side. */
const WIDENED = 4;

/** The two conductors of different nets that lie nearest to the bridge; of one net where there is no other. */
function bridge(drawn: DrawnNets, finding: Finding, layer: number, box: Box): Effect | null {
  const step = Math.max(box[2] - box[0], box[3] - box[1]) / 4;
  for (let n = 0; n <= WIDENED; n++) {
    const met = shapesIn(drawn.store, layer, growBox(box, n * step));
    const pair = twoNets(drawn, met, finding.nets) ?? (n === WIDENED ? twoOfOneNet(drawn, met) : null);
    if (pair) return { kind: 'bridge', finding, shapes: pair };
  }
  return null;
}

/** A via where none is drawn joins what lies below it with what lies above it. */
function extraVia(drawn: DrawnNets, finding: Finding, layer: number, box: Box): Effect | null {
  const joined = drawn.store.layers[layer]!.joins.flatMap((l) => shapesIn(drawn.store, l, box).slice(0, 1));
  const [below, above] = joined;
  return below === undefined || above === undefined
    ? null
    : { kind: 'bridge', finding, shapes: [below, above] };
}

/** Shapes of a layer with area in a box, largest first. */
function shapesIn(store: ShapeStore, layer: number, box: Box): number[] {
  return shapesMeeting(store, layer, box)
    .map((n) => ({ n, area: areaOf(convexPieces(ringOf(store, n)), box) }))
    .filter(({ area }) => area > 0)
    .sort((a, b) => b.area - a.area || a.n - b.n)
    .map(({ n }) => n);
}

function twoNets(
  drawn: DrawnNets,
  shapes: readonly number[],
  named: readonly string[],
): [number, number] | null {
  const firsts = new Map<number, number>();
  for (const n of shapes) if (!firsts.has(drawn.netOf[n]!)) firsts.set(drawn.netOf[n]!, n);
  if (firsts.size < 2) return null;
  const said = (net: number) => (named.includes(drawn.nets[net]!.name) ? 0 : 1);
  const [first, second] = [...firsts].sort((a, b) => said(a[0]) - said(b[0]));
  return [first![1], second![1]];
}

const twoOfOneNet = (drawn: DrawnNets, shapes: readonly number[]): [number, number] | null => {
  const [first] = shapes;
  const second = shapes.find((n) => n !== first && drawn.netOf[n] === drawn.netOf[first!]);
  return first !== undefined && second !== undefined ? [first, second] : null;
};
