/** Flat shapes to solids: tops and walls as triangles. Pure. */
import earcut from 'earcut';
import type { Box } from '../../shared/polygon.ts';

export interface Mesh {
  /** Six numbers a vertex: place, then the normal. Three vertices a triangle. */
  readonly vertices: Float32Array;
  readonly triangles: number;
}

export interface FlatShape {
  /** Counter-clockwise, flat coordinates. */
  readonly ring: readonly number[];
  /** Edges along this box are cuts, not walls; undefined where there are none. */
  readonly seam?: Box | undefined;
}

/**
 * Tops and walls; what faces down is never seen.
 * @param shapes in micrometres, relative to the origin of the scene
 * @param bottom and top heights in micrometres
 * @param outer edges along this box are walls even where they are cuts: the scene ends there
 */
export function extrude(shapes: readonly FlatShape[], bottom: number, top: number, outer: Box): Mesh {
  const out: number[] = [];
  for (const { ring, seam } of shapes) {
    const corners = earcut(ring as number[]);
    for (const corner of corners) out.push(ring[2 * corner]!, ring[2 * corner + 1]!, top, 0, 0, 1);
    const count = ring.length / 2;
    for (let n = 0; n < count; n++) {
      const m = (n + 1) % count;
      const [ax, ay, bx, by] = [ring[2 * n]!, ring[2 * n + 1]!, ring[2 * m]!, ring[2 * m + 1]!];
      const length = Math.hypot(bx - ax, by - ay);
      if (length === 0) continue;
      if (seam && liesOn(seam, ax, ay, bx, by) && !liesOn(outer, ax, ay, bx, by)) continue;
      // Counter-clockwise: the outside is to the right of the way round.
      const [nx, ny] = [(by - ay) / length, (ax - bx) / length];
      out.push(ax, ay, bottom, nx, ny, 0, bx, by, bottom, nx, ny, 0, bx, by, top, nx, ny, 0);
      out.push(ax, ay, bottom, nx, ny, 0, bx, by, top, nx, ny, 0, ax, ay, top, nx, ny, 0);
    }
  }
  return { vertices: Float32Array.from(out), triangles: out.length / 18 };
}

const HAIR = 1e-6;

/** Whether an edge runs along a side of a box. */
function liesOn(box: Box, ax: number, ay: number, bx: number, by: number): boolean {
  const on = (a: number, b: number, side: number): boolean =>
    Math.abs(a - side) < HAIR && Math.abs(b - side) < HAIR;
  return on(ax, bx, box[0]) || on(ax, bx, box[2]) || on(ay, by, box[1]) || on(ay, by, box[3]);
}
