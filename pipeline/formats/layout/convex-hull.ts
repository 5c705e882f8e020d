/** Convex hull of a stream of points, kept small while points come in. */

/** Points held before they are reduced to their hull. */
const HELD = 1 << 14;

export class HullBuilder {
  #x: number[] = [];
  #y: number[] = [];
  #limit = HELD;

  add(x: number, y: number): void {
    this.#x.push(x);
    this.#y.push(y);
    if (this.#x.length < this.#limit) return;
    const hull = convexHull(this.#x, this.#y);
    this.#x = hull.filter((_, n) => n % 2 === 0);
    this.#y = hull.filter((_, n) => n % 2 === 1);
    // Points on a circle reduce to themselves: wait for as many again before the next try.
    this.#limit = Math.max(HELD, 2 * this.#x.length);
  }

  /** x0, y0, x1, y1 ... counter-clockwise; a point or a line where there is no more. */
  finish(): number[] {
    return convexHull(this.#x, this.#y);
  }
}

/** @source A. M. Andrew, "Another efficient algorithm for convex hulls in two dimensions" (1979). */
function convexHull(x: readonly number[], y: readonly number[]): number[] {
  const order = Array.from(x, (_, n) => n).sort((p, q) => x[p] - x[q] || y[p] - y[q]);
  const lower = chain(x, y, order);
  const upper = chain(x, y, order.reverse());
  return [...lower.slice(0, -1), ...upper.slice(0, -1), ...(lower.length < 2 ? lower : [])].flatMap((n) => [
    x[n],
    y[n],
  ]);
}

/** Points of `order` that turn left all along. */
function chain(x: readonly number[], y: readonly number[], order: readonly number[]): number[] {
  const kept: number[] = [];
  for (const n of order) {
    while (kept.length > 1) {
      const a = kept[kept.length - 2];
      const b = kept[kept.length - 1];
      if ((x[b] - x[a]) * (y[n] - y[a]) - (y[b] - y[a]) * (x[n] - x[a]) > 0) break;
      kept.pop();
    }
    kept.push(n);
  }
  return kept;
}
