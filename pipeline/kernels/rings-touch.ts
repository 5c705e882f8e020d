/**
 * Whether two polygons have area or an edge in common, exactly: all decisions are signs of whole numbers as long as the
 * coordinates are whole and the two polygons fit into a square of side 2^24 (16 mm at a database unit of 1 nm). A ring
 * is a flat list x0, y0, x1, y1 ..., closed implicitly, either way round, without spikes (see `cleanRing`).
 */
import { type FlatPolygon, polygonBox, signedArea } from '../../shared/polygon.ts';

/** Whether the polygons overlap or share a piece of an edge; a shared corner alone is not enough. */
export const ringsJoin = (a: FlatPolygon, b: FlatPolygon): boolean => meet(a, b, false);

/** Whether the polygons have area in common. */
export const ringsOverlap = (a: FlatPolygon, b: FlatPolygon): boolean => meet(a, b, true);

function meet(a: FlatPolygon, b: FlatPolygon, areaOnly: boolean): boolean {
  const boxA = polygonBox(a);
  const boxB = polygonBox(b);
  const shared = [
    Math.max(boxA[0], boxB[0]),
    Math.max(boxA[1], boxB[1]),
    Math.min(boxA[2], boxB[2]),
    Math.min(boxA[3], boxB[3]),
  ] as const;
  const [width, height] = [shared[2] - shared[0], shared[3] - shared[1]];
  if (width < 0 || height < 0 || (width === 0 && height === 0)) return false;
  if (areaOnly && (width === 0 || height === 0)) return false;
  const edgesA = edgesIn(a, shared);
  const edgesB = edgesIn(b, shared);
  const splitsA = new Map<number, number[]>();
  const splitsB = new Map<number, number[]>();
  let touching = false;
  for (const i of edgesA) {
    const [px, py, qx, qy] = edge(a, i);
    for (const j of edgesB) {
      const [rx, ry, sx, sy] = edge(b, j);
      if (
        Math.max(px, qx) < Math.min(rx, sx) ||
        Math.max(rx, sx) < Math.min(px, qx) ||
        Math.max(py, qy) < Math.min(ry, sy) ||
        Math.max(ry, sy) < Math.min(py, qy)
      )
        continue;
      const d1 = side(rx, ry, sx, sy, px, py);
      const d2 = side(rx, ry, sx, sy, qx, qy);
      const d3 = side(px, py, qx, qy, rx, ry);
      const d4 = side(px, py, qx, qy, sx, sy);
      if (d1 * d2 < 0 && d3 * d4 < 0) return true;
      if (d1 === 0 && d2 === 0) {
        if (!alongEachOther(px, py, qx, qy, rx, ry, sx, sy)) continue;
        if (!areaOnly) return true;
        // Running the same way with the inside on the same hand, they cover the same ground beside the edge.
        const sameWay = (qx - px) * (sx - rx) + (qy - py) * (sy - ry) > 0;
        if (sameWay === signedArea(a) * signedArea(b) > 0) return true;
      } else if (d1 * d2 > 0 || d3 * d4 > 0) continue;
      // They touch in a point, which is a corner of one of them: both may be cut there.
      touching = true;
      if (d3 === 0) split(splitsA, i, rx, ry);
      if (d4 === 0) split(splitsA, i, sx, sy);
      if (d1 === 0) split(splitsB, j, px, py);
      if (d2 === 0) split(splitsB, j, qx, qy);
    }
  }
  if (!touching) {
    return insideDoubled(b, 2 * a[0]!, 2 * a[1]!) || insideDoubled(a, 2 * b[0]!, 2 * b[1]!);
  }
  return runsInside(a, edgesA, splitsA, b) || runsInside(b, edgesB, splitsB, a);
}

type Edge = readonly [number, number, number, number];

function edge(ring: FlatPolygon, at: number): Edge {
  const next = at + 2 < ring.length ? at + 2 : 0;
  return [ring[at]!, ring[at + 1]!, ring[next]!, ring[next + 1]!];
}

/** Edges, by the place of their first corner, whose boxes meet a box. */
function edgesIn(ring: FlatPolygon, box: readonly number[]): number[] {
  const found: number[] = [];
  for (let at = 0; at < ring.length; at += 2) {
    const [px, py, qx, qy] = edge(ring, at);
    if (
      Math.max(px, qx) >= box[0]! &&
      Math.min(px, qx) <= box[2]! &&
      Math.max(py, qy) >= box[1]! &&
      Math.min(py, qy) <= box[3]!
    )
      found.push(at);
  }
  return found;
}

/** Which side of the line from (ax, ay) to (bx, by) a point lies on: 1 left, -1 right, 0 on it. */
const side = (ax: number, ay: number, bx: number, by: number, x: number, y: number): number =>
  Math.sign((bx - ax) * (y - ay) - (by - ay) * (x - ax));

/** Whether two edges on one line share more than a point. */
function alongEachOther(...[px, py, qx, qy, rx, ry, sx, sy]: Parameters<typeof lengthShared>): boolean {
  return lengthShared(px, py, qx, qy, rx, ry, sx, sy) > 0;
}

function lengthShared(
  px: number,
  py: number,
  qx: number,
  qy: number,
  rx: number,
  ry: number,
  sx: number,
  sy: number,
): number {
  const level = Math.abs(qx - px) >= Math.abs(qy - py);
  const [p, q, r, s] = level ? [px, qx, rx, sx] : [py, qy, ry, sy];
  return Math.min(Math.max(p, q), Math.max(r, s)) - Math.max(Math.min(p, q), Math.min(r, s));
}

function split(splits: Map<number, number[]>, at: number, x: number, y: number): void {
  const list = splits.get(at);
  if (list) list.push(x, y);
  else splits.set(at, [x, y]);
}

/** Whether a piece of the boundary of `ring`, cut where it touches `other`, runs through the inside of `other`. */
function runsInside(
  ring: FlatPolygon,
  edges: readonly number[],
  splits: ReadonlyMap<number, readonly number[]>,
  other: FlatPolygon,
): boolean {
  for (const at of edges) {
    const [px, py, qx, qy] = edge(ring, at);
    const cuts = splits.get(at) ?? [];
    const along = (x: number, y: number) => (x - px) * (qx - px) + (y - py) * (qy - py);
    const points: [number, number][] = [
      [px, py],
      [qx, qy],
    ];
    for (let n = 0; n < cuts.length; n += 2) {
      const distance = along(cuts[n]!, cuts[n + 1]!);
      if (distance > 0 && distance < along(qx, qy)) points.push([cuts[n]!, cuts[n + 1]!]);
    }
    points.sort((a, b) => along(a[0], a[1]) - along(b[0], b[1]));
    for (let n = 1; n < points.length; n++) {
      const [from, to] = [points[n - 1]!, points[n]!];
      if (insideDoubled(other, from[0] + to[0], from[1] + to[1])) return true;
    }
  }
  return false;
}

/** Whether the point (x2 / 2, y2 / 2) lies inside by the nonzero rule, and not on the boundary. */
function insideDoubled(ring: FlatPolygon, x2: number, y2: number): boolean {
  let winding = 0;
  for (let n = 0, m = ring.length - 2; n < ring.length; m = n, n += 2) {
    const ax = 2 * ring[m]! - x2;
    const ay = 2 * ring[m + 1]! - y2;
    const bx = 2 * ring[n]! - x2;
    const by = 2 * ring[n + 1]! - y2;
    if ((ay > 0 && by > 0) || (ay < 0 && by < 0)) continue;
    const turn = ax * by - ay * bx;
    if (turn === 0 && ax * bx <= 0 && ay * by <= 0) return false;
    if (ay <= 0 && by > 0 && turn > 0) winding++;
    else if (ay > 0 && by <= 0 && turn < 0) winding--;
  }
  return winding !== 0;
}

/** Whether two polygons that do not overlap come as near as `distance`, corners counted. */
export function ringsWithin(a: FlatPolygon, b: FlatPolygon, distance: number): boolean {
  const limit = distance * distance;
  for (const [from, to] of [
    [a, b],
    [b, a],
  ] as const) {
    for (let n = 0; n < from.length; n += 2) {
      for (let at = 0; at < to.length; at += 2) {
        const [px, py, qx, qy] = edge(to, at);
        const [ux, uy] = [qx - px, qy - py];
        const [vx, vy] = [from[n]! - px, from[n + 1]! - py];
        const t = Math.min(1, Math.max(0, (ux * vx + uy * vy) / (ux * ux + uy * uy || 1)));
        if ((vx - t * ux) ** 2 + (vy - t * uy) ** 2 <= limit) return true;
      }
    }
  }
  return false;
}
