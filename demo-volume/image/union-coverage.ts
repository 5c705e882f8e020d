/**
 * Coverage of a pixel by many rings together. What one ring covers is exact; where the edges of several cross a pixel,
 * their sum is right for shapes that abut and too much for shapes that lie over one another, as a wire drawn twice does.
 */
import { ringHolds } from '../layout/connectivity.ts';
import type { Ring } from '../layout/library.ts';
import { type CoverageMask, visitRing } from './coverage.ts';

/** Points along each side of a pixel that more than one edge crosses. */
const POINTS = 16;
/** The sum, or the largest share, is taken for the truth where the points, which round it, say nearly as much. */
const NEAR = 1.01 / POINTS;
/** Less than this of a pixel is rounding. */
const PART = 1e-6;

/** Adds the union of rings to a mask that holds nothing yet. */
export function addUnion(mask: CoverageMask, rings: readonly Ring[]): void {
  const { values } = mask;
  const largest = new Float32Array(values.length);
  const first = new Int32Array(values.length).fill(-1);
  const crossed = new Map<number, number[]>();
  rings.forEach((ring, n) => {
    visitRing(ring, mask.grid, (at, value) => {
      values[at] = Math.min(1, (values[at] as number) + value);
      largest[at] = Math.max(largest[at] as number, value);
      if (value > 1 - PART) return;
      const before = first[at] as number;
      const list = crossed.get(at);
      if (before < 0) first[at] = n;
      else if (list) list.push(n);
      else crossed.set(at, [before, n]);
    });
  });
  for (const [at, list] of crossed) {
    const [sum, most] = [values[at] as number, largest[at] as number];
    if (most > 1 - PART || sum - most < PART) continue;
    const seen = sampled(
      at,
      list.map((n) => rings[n] as Ring),
      mask,
    );
    values[at] = Math.abs(seen - most) < NEAR ? most : Math.abs(seen - sum) < NEAR ? sum : seen;
  }
}

/** Share of a pixel that lies in any of the rings. */
function sampled(at: number, rings: readonly Ring[], { grid }: CoverageMask): number {
  const x0 = grid.x0Um + (at % grid.width) * grid.pixelUm;
  const y0 = grid.y0Um + Math.floor(at / grid.width) * grid.pixelUm;
  let inside = 0;
  for (let v = 0; v < POINTS; v++) {
    const y = y0 + ((v + 0.5) / POINTS) * grid.pixelUm;
    for (let u = 0; u < POINTS; u++) {
      const x = x0 + ((u + 0.5) / POINTS) * grid.pixelUm;
      if (rings.some((ring) => ringHolds(ring, x, y))) inside++;
    }
  }
  return inside / POINTS ** 2;
}
