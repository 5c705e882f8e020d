/**
 * Whether a path covers a point, told without making an outline: by distances from its segments, one at a time.
 * Slow and plain, to judge outlines by.
 *
 * A point is covered when it lies within half the width of a segment, alongside it (or in the extension of an end
 * segment); or in the corner that two segments leave open on the outside of a turn: beyond both segments, within half
 * the width of both lines, and for a turn beyond 90 degrees no farther along the bisector than a point half a width
 * straight on.
 */
export interface PathEnd {
  readonly begin: number;
  readonly end: number;
  readonly isRound: boolean;
}

interface Segment {
  readonly x: number;
  readonly y: number;
  readonly ux: number;
  readonly uy: number;
  readonly length: number;
}

export class PathCoverage {
  readonly #segments: Segment[] = [];
  readonly #half: number;
  readonly #ends: PathEnd;

  constructor(xy: readonly number[], width: number, ends: PathEnd) {
    this.#half = width / 2;
    this.#ends = ends;
    for (let n = 0; n + 3 < xy.length; n += 2) {
      const dx = xy[n + 2] - xy[n];
      const dy = xy[n + 3] - xy[n + 1];
      const length = Math.hypot(dx, dy);
      if (length > 0)
        this.#segments.push({ x: xy[n], y: xy[n + 1], ux: dx / length, uy: dy / length, length });
    }
  }

  /** `slack` moves the border outwards; negative inwards. */
  covers(px: number, py: number, slack = 0): boolean {
    const half = this.#half + slack;
    const last = this.#segments.length - 1;
    for (let n = 0; n <= last; n++) {
      const s = this.#segments[n];
      const along = (px - s.x) * s.ux + (py - s.y) * s.uy;
      const across = (py - s.y) * s.ux - (px - s.x) * s.uy;
      const from = n === 0 ? -this.#ends.begin - slack : -Math.max(slack, 0);
      const to = s.length + (n === last ? this.#ends.end + slack : Math.max(slack, 0));
      if (Math.abs(across) <= half && along >= from && along <= to) return true;
      if (this.#ends.isRound) {
        if (n === 0 && Math.hypot(along, across) <= half) return true;
        if (n === last && Math.hypot(along - s.length, across) <= half) return true;
      }
      if (n < last && this.#corner(s, this.#segments[n + 1], px, py, slack)) return true;
    }
    return false;
  }

  #corner(a: Segment, b: Segment, px: number, py: number, slack: number): boolean {
    const half = this.#half + slack;
    const qx = px - b.x;
    const qy = py - b.y;
    const beyondA = qx * a.ux + qy * a.uy;
    const beforeB = -(qx * b.ux + qy * b.uy);
    if (beyondA < -Math.max(slack, 0) || beforeB < -Math.max(slack, 0)) return false;
    if (Math.abs(qy * a.ux - qx * a.uy) > half || Math.abs(qy * b.ux - qx * b.uy) > half) return false;
    const isSharp = a.ux * b.ux + a.uy * b.uy < -1e-9;
    if (!isSharp) return true;
    // Outward bisector: along the one segment, against the other. The cut passes through the point half a width
    // straight on from a's edge.
    const bx = a.ux - b.ux;
    const by = a.uy - b.uy;
    const length = Math.hypot(bx, by);
    const turnsLeft = a.ux * b.uy - a.uy * b.ux >= 0 ? 1 : -1;
    const ex = this.#half * (a.ux + turnsLeft * a.uy);
    const ey = this.#half * (a.uy - turnsLeft * a.ux);
    return (qx * bx + qy * by) / length <= (ex * bx + ey * by) / length + slack;
  }
}
