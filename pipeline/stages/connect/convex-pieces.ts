/** A shape with boxes cut out of it, as convex pieces, and which of them touch. */
import type { Box, FlatPolygon } from '../../../shared/polygon.ts';
import { polygonBox, signedArea } from '../../../shared/polygon.ts';
import { clipRing } from '../../kernels/ring-clip.ts';
import { trapezoidsOf } from '../../kernels/trapezoids.ts';

/** A convex ring. */
export type Piece = readonly number[];

/** A piece thinner than this in database units is left over from rounding. */
const THIN = 1e-6;

/** The ring as convex pieces that cover it without overlap. */
export function convexPieces(ring: FlatPolygon): Piece[] {
  return trapezoidsOf(ring).map((t) => [
    ...[t.left0, t.y0],
    ...[t.right0, t.y0],
    ...[t.right1, t.y1],
    ...[t.left1, t.y1],
  ]);
}

/** Convex pieces of what a box leaves of convex pieces. */
export function cutOut(pieces: readonly Piece[], box: Box): Piece[] {
  const [x0, y0, x1, y1] = box;
  const around: Box[] = [
    [-Infinity, -Infinity, Infinity, y0],
    [-Infinity, y1, Infinity, Infinity],
    [-Infinity, y0, x0, y1],
    [x1, y0, Infinity, y1],
  ];
  return pieces.flatMap((piece) => {
    const [px0, py0, px1, py1] = polygonBox(piece);
    if (px1 <= x0 || px0 >= x1 || py1 <= y0 || py0 >= y1) return [piece];
    return around.flatMap((side) => {
      const part = clipRing(piece, finite(side, [px0, py0, px1, py1]));
      return part.length >= 6 && Math.abs(signedArea(part)) > THIN ? [part] : [];
    });
  });
}

const finite = (side: Box, within: Box): Box => [
  Math.max(side[0], within[0]),
  Math.max(side[1], within[1]),
  Math.min(side[2], within[2]),
  Math.min(side[3], within[3]),
];

/**
 * Whether two convex pieces overlap, or touch where `slack` is not negative.
 * @param slack distance that still counts as touching; negative: depth of overlap that is asked for
 * @source Separating axis theorem for convex sets (S. Gottschalk, M. Lin, D. Manocha, "OBBTree", SIGGRAPH 1996).
 */
export function piecesMeet(a: Piece, b: Piece, slack: number): boolean {
  for (const ring of [a, b]) {
    for (let n = 0, m = ring.length - 2; n < ring.length; m = n, n += 2) {
      const [nx, ny] = [ring[n + 1]! - ring[m + 1]!, ring[m]! - ring[n]!];
      const length = Math.hypot(nx, ny);
      if (length === 0) continue;
      const [aLow, aHigh] = spanAlong(a, nx, ny);
      const [bLow, bHigh] = spanAlong(b, nx, ny);
      if (Math.max(aLow, bLow) - Math.min(aHigh, bHigh) > slack * length) return false;
    }
  }
  return true;
}

function spanAlong(ring: Piece, nx: number, ny: number): [number, number] {
  let low = Infinity;
  let high = -Infinity;
  for (let n = 0; n < ring.length; n += 2) {
    const at = ring[n]! * nx + ring[n + 1]! * ny;
    if (at < low) low = at;
    if (at > high) high = at;
  }
  return [low, high];
}

/**
 * Stretch of metal through a point along one axis.
 * @param axis 0: along x; 1: along y
 * @returns null where no piece holds the point
 */
export function stretchAt(
  pieces: readonly Piece[],
  x: number,
  y: number,
  axis: 0 | 1,
): readonly [number, number] | null {
  const [at, across] = axis === 0 ? [x, y] : [y, x];
  const spans: [number, number][] = [];
  for (const piece of pieces) {
    let low = Infinity;
    let high = -Infinity;
    for (let n = 0, m = piece.length - 2; n < piece.length; m = n, n += 2) {
      const [p, q] = [piece[m + 1 - axis]! - across, piece[n + 1 - axis]! - across];
      if ((p > 0 && q > 0) || (p < 0 && q < 0)) continue;
      const t = p === q ? 0 : p / (p - q);
      for (const u of p === q ? [0, 1] : [t]) {
        const value = piece[m + axis]! + u * (piece[n + axis]! - piece[m + axis]!);
        low = Math.min(low, value);
        high = Math.max(high, value);
      }
    }
    if (high > low) spans.push([low, high]);
  }
  spans.sort((a, b) => a[0] - b[0]);
  let found: [number, number] | null = null;
  for (const [low, high] of spans) {
    if (found && low <= found[1]) found[1] = Math.max(found[1], high);
    else if (found && found[1] >= at) break;
    else found = [low, high];
  }
  return found && found[0] <= at && found[1] >= at ? found : null;
}
