/**
 * Polygons as flat coordinate lists `[x0, y0, x1, y1, ...]`, closed implicitly (the last vertex joins the first).
 */

/** `[x0, y0, x1, y1]` with x0 <= x1 and y0 <= y1. */
export type Box = readonly [number, number, number, number];
export type FlatPolygon = ArrayLike<number>;

export const EMPTY_BOX: Box = [Infinity, Infinity, -Infinity, -Infinity];

export const isEmptyBox = (box: Box): boolean => !(box[0] <= box[2] && box[1] <= box[3]);

export function boxesMeet(a: Box, b: Box): boolean {
  return a[0] <= b[2] && b[0] <= a[2] && a[1] <= b[3] && b[1] <= a[3];
}

export function unionBox(a: Box, b: Box): Box {
  return [Math.min(a[0], b[0]), Math.min(a[1], b[1]), Math.max(a[2], b[2]), Math.max(a[3], b[3])];
}

/** Common part of two boxes, empty (see `isEmptyBox`) where they do not meet. */
export function intersectBox(a: Box, b: Box): Box {
  return [Math.max(a[0], b[0]), Math.max(a[1], b[1]), Math.min(a[2], b[2]), Math.min(a[3], b[3])];
}

export const growBox = (box: Box, by: number): Box => [box[0] - by, box[1] - by, box[2] + by, box[3] + by];

/** Bounding box of a polygon; empty for no vertices. */
export function polygonBox(polygon: FlatPolygon): Box {
  let x0 = Infinity;
  let y0 = Infinity;
  let x1 = -Infinity;
  let y1 = -Infinity;
  for (let n = 0; n + 1 < polygon.length; n += 2) {
    const x = polygon[n]!;
    const y = polygon[n + 1]!;
    if (x < x0) x0 = x;
    if (x > x1) x1 = x;
    if (y < y0) y0 = y;
    if (y > y1) y1 = y;
  }
  return [x0, y0, x1, y1];
}

/** Signed area, positive counter-clockwise (Y up). @source Shoelace formula. */
export function signedArea(polygon: FlatPolygon): number {
  const count = polygon.length >> 1;
  if (count < 3) return 0;
  // Relative to the first vertex: keeps precision for small shapes far from the origin.
  const ox = polygon[0]!;
  const oy = polygon[1]!;
  let twice = 0;
  for (let n = 1; n + 1 < count; n++) {
    const ax = polygon[2 * n]! - ox;
    const ay = polygon[2 * n + 1]! - oy;
    const bx = polygon[2 * n + 2]! - ox;
    const by = polygon[2 * n + 3]! - oy;
    twice += ax * by - bx * ay;
  }
  return twice / 2;
}

/** Winding number of a polygon around a point; points exactly on an edge may count either way. */
export function windingNumber(polygon: FlatPolygon, x: number, y: number): number {
  const count = polygon.length >> 1;
  let winding = 0;
  for (let n = 0, m = count - 1; n < count; m = n++) {
    const ax = polygon[2 * m]!;
    const ay = polygon[2 * m + 1]!;
    const bx = polygon[2 * n]!;
    const by = polygon[2 * n + 1]!;
    const side = (bx - ax) * (y - ay) - (by - ay) * (x - ax);
    if (ay <= y && by > y && side > 0) winding++;
    else if (ay > y && by <= y && side < 0) winding--;
  }
  return winding;
}
