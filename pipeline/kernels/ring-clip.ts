/** Small operations on rings (flat coordinate lists, closed implicitly): tidying, cutting to a box, measuring. */
import { type Box, type FlatPolygon, signedArea } from '../../shared/polygon.ts';

/**
 * Takes out corners that repeat or lie on a straight line, and spikes (out and back along one line), which cover
 * nothing. Exact for whole coordinates.
 * @returns empty where no area is left
 */
export function cleanRing(ring: FlatPolygon): number[] {
  let points: number[] = Array.from(ring);
  for (let changed = true; changed; ) {
    changed = false;
    const kept: number[] = [];
    const count = points.length / 2;
    for (let n = 0; n < count; n++) {
      const x = points[2 * n]!;
      const y = points[2 * n + 1]!;
      const [px, py] = kept.length > 0 ? kept.slice(-2) : points.slice(-2);
      const next = (n + 1) % count;
      const [qx, qy] = [points[2 * next]!, points[2 * next + 1]!];
      if ((x - px!) * (qy - y) - (y - py!) * (qx - x) === 0) changed = true;
      else kept.push(x, y);
    }
    if (kept.length < 6) return [];
    points = kept;
  }
  return points;
}

/** The box of a ring that is an upright rectangle, else null. */
export function rectangleOf(ring: FlatPolygon): Box | null {
  if (ring.length !== 8) return null;
  const [x0, y0, x1, y1, x2, y2, x3, y3] = Array.from(ring) as [
    number,
    number,
    number,
    number,
    number,
    number,
    number,
    number,
  ];
  const upright =
    (x0 === x1 && y1 === y2 && x2 === x3 && y3 === y0) || (y0 === y1 && x1 === x2 && y2 === y3 && x3 === x0);
  return upright ? [Math.min(x0, x2), Math.min(y0, y2), Math.max(x0, x2), Math.max(y0, y2)] : null;
}

/**
 * The part of a ring inside a box. Parts that fall apart stay one ring, joined along the side of the box, which is
 * harmless for filling and for asking whether a point lies inside.
 * @source I. E. Sutherland and G. W. Hodgman, "Reentrant Polygon Clipping", Comm. ACM 17 (1974).
 */
export function clipRing(ring: FlatPolygon, box: Box): number[] {
  let points: number[] = Array.from(ring);
  for (let cut = 0; cut < 4 && points.length > 0; cut++) {
    const axis = cut & 1;
    const limit = box[cut]!;
    const sign = cut < 2 ? 1 : -1;
    const clipped: number[] = [];
    for (let n = 0, m = points.length - 2; n < points.length; m = n, n += 2) {
      const from = sign * (points[m + axis]! - limit);
      const to = sign * (points[n + axis]! - limit);
      if (from >= 0 !== to >= 0) {
        const t = from / (from - to);
        const crossing = [
          points[m]! + t * (points[n]! - points[m]!),
          points[m + 1]! + t * (points[n + 1]! - points[m + 1]!),
        ];
        crossing[axis] = limit;
        clipped.push(crossing[0]!, crossing[1]!);
      }
      if (to >= 0) clipped.push(points[n]!, points[n + 1]!);
    }
    points = clipped;
  }
  return points;
}

export function perimeter(ring: FlatPolygon): number {
  let sum = 0;
  for (let n = 0, m = ring.length - 2; n < ring.length; m = n, n += 2) {
    sum += Math.hypot(ring[n]! - ring[m]!, ring[n + 1]! - ring[m + 1]!);
  }
  return sum;
}

/**
 * Centre-line length of a wire from its outline: l - w of the rectangle with the same area A and perimeter P, which is
 * sqrt((P/2)^2 - 4 A). For a wire of even width, however often it turns at right angles, whose ends reach half a width
 * beyond its centre line this is the length of the centre line; with ends cut flush it is one width less; for a square
 * it is 0. Common practice, no source; the algebra is l + w = P/2, l w = A.
 */
export function centreLineLength(ring: FlatPolygon): number {
  const half = perimeter(ring) / 2;
  return Math.sqrt(Math.max(0, half * half - 4 * Math.abs(signedArea(ring))));
}
