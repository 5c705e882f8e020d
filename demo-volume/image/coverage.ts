/**
 * How much of each pixel of a grid is covered by shapes: exact areas, for rings of any form.
 * @source signed-area accumulation along scan lines, common practice in outline font rasterisers.
 */
import { ringBox } from '../layout/flatten.ts';
import type { Ring } from '../layout/library.ts';

/** Axis-parallel grid; column x covers x0Um + [x, x + 1] pixelUm, row y likewise upwards. */
export interface FineGrid {
  readonly x0Um: number;
  readonly y0Um: number;
  readonly pixelUm: number;
  readonly width: number;
  readonly height: number;
}

export interface CoverageMask {
  readonly grid: FineGrid;
  readonly values: Float32Array;
}

export function emptyMask(grid: FineGrid): CoverageMask {
  return { grid, values: new Float32Array(grid.width * grid.height) };
}

const clamp = (v: number, low: number, high: number): number => (v < low ? low : Math.min(v, high));

/** Adds one edge, in pixels, to signed differences of coverage (one more column than the window is wide). */
function addEdge(
  acc: Float64Array,
  w: number,
  h: number,
  ax: number,
  ay: number,
  bx: number,
  by: number,
): void {
  if (ay === by) return;
  const sign = ay < by ? 1 : -1;
  const [x0, y0, x1, y1] = ay < by ? [ax, ay, bx, by] : [bx, by, ax, ay];
  const slope = (x1 - x0) / (y1 - y0);
  const stride = w + 2;
  const from = Math.max(0, Math.floor(y0));
  const to = Math.min(h, Math.ceil(y1));
  for (let y = from; y < to; y++) {
    const ya = Math.max(y, y0);
    const yb = Math.min(y + 1, y1);
    const d = (yb - ya) * sign;
    if (d === 0) continue;
    const xa = clamp(x0 + (ya - y0) * slope, 0, w);
    const xb = clamp(x0 + (yb - y0) * slope, 0, w);
    const left = Math.min(xa, xb);
    const right = Math.max(xa, xb);
    const first = Math.floor(left);
    const row = y * stride;
    if (right <= first + 1) {
      const mean = (left + right) / 2 - first;
      acc[row + first] = (acc[row + first] as number) + d * (1 - mean);
      acc[row + first + 1] = (acc[row + first + 1] as number) + d * mean;
      continue;
    }
    // The edge passes several pixels of this row. In each, the running sum gets what the edge adds to that pixel
    // itself, and the next pixel gets the rest of this piece's full share.
    const per = d / (right - left);
    for (let column = first, x = left; x < right; column++) {
      const end = Math.min(column + 1, right);
      const share = per * (end - x);
      const inside = share * (column + 1 - (x + end) / 2);
      acc[row + column] = (acc[row + column] as number) + inside;
      acc[row + column + 1] = (acc[row + column + 1] as number) + share - inside;
      x = end;
    }
  }
}

/** Coverage of one ring, passed pixel by pixel to `put` (column, row, value in 0..1]. */
export function visitRing(ring: Ring, grid: FineGrid, put: (at: number, value: number) => void): void {
  const [bx0, by0, bx1, by1] = ringBox(ring);
  const scale = 1 / grid.pixelUm;
  const c0 = Math.max(0, Math.floor((bx0 - grid.x0Um) * scale));
  const r0 = Math.max(0, Math.floor((by0 - grid.y0Um) * scale));
  const c1 = Math.min(grid.width, Math.ceil((bx1 - grid.x0Um) * scale));
  const r1 = Math.min(grid.height, Math.ceil((by1 - grid.y0Um) * scale));
  const w = c1 - c0;
  const h = r1 - r0;
  if (w <= 0 || h <= 0) return;
  const acc = new Float64Array((w + 2) * h);
  const px = (i: number): number => ((ring[i] as number) - grid.x0Um) * scale - c0;
  const py = (i: number): number => ((ring[i + 1] as number) - grid.y0Um) * scale - r0;
  for (let i = 0, j = ring.length - 2; i < ring.length; j = i, i += 2)
    addEdge(acc, w, h, px(j), py(j), px(i), py(i));
  for (let y = 0; y < h; y++) {
    let sum = 0;
    for (let x = 0; x < w; x++) {
      sum += acc[y * (w + 2) + x] as number;
      const value = Math.min(1, Math.abs(sum));
      if (value > 1e-9) put((r0 + y) * grid.width + c0 + x, value);
    }
  }
}

/** Adds a ring; abutting shapes add up to one, overlapping ones stay at one. */
export function addRing(mask: CoverageMask, ring: Ring): void {
  const { values } = mask;
  visitRing(ring, mask.grid, (at, value) => {
    values[at] = Math.min(1, (values[at] as number) + value);
  });
}

/** Takes a ring away. */
export function cutRing(mask: CoverageMask, ring: Ring): void {
  const { values } = mask;
  visitRing(ring, mask.grid, (at, value) => {
    values[at] = Math.min(values[at] as number, 1 - value);
  });
}
