/** Which shapes lie in the field that the scan shows, and which reach out of it. */
import { type PlateGrid, pixelFromDie } from '../../../shared/frames.ts';
import { trapezoidsOf } from '../../kernels/trapezoids.ts';
import { isRectangle, ringOf, type ShapeStore, shapeBox } from './collect-shapes.ts';

/**
 * 1 for every shape of which a part lies on a pixel of its layer without image data, or outside the grid. Layers without
 * a portrait are judged by the grid alone.
 * @param portraitOf values of a layer on the grid, NaN where there is no data
 */
export function shapesLeavingField(
  store: ShapeStore,
  grid: PlateGrid,
  portraitOf: (layer: string) => Float32Array | undefined,
): Uint8Array {
  const leaves = new Uint8Array(store.count);
  let counts = new Uint32Array(0);
  store.layers.forEach(({ name }, layer) => {
    const [from, to] = [store.layerStarts[layer]!, store.layerStarts[layer + 1]!];
    if (from === to) return;
    const portrait = portraitOf(name);
    if (portrait) {
      if (counts.length === 0) counts = new Uint32Array((grid.width_px + 1) * (grid.height_px + 1));
      countUnseen(portrait, grid, counts);
    }
    for (let n = from; n < to; n++) leaves[n] = shapeLeaves(store, n, grid, portrait ? counts : null) ? 1 : 0;
  });
  return leaves;
}

/** Pixels without data above and left of each pixel corner, so that any rectangle is answered at once. */
function countUnseen(portrait: Float32Array, grid: PlateGrid, counts: Uint32Array): void {
  const { width_px: width, height_px: height } = grid;
  for (let row = 0; row < height; row++) {
    let inRow = 0;
    const above = row * (width + 1) + 1;
    const here = above + width + 1;
    for (let column = 0; column < width; column++) {
      if (Number.isNaN(portrait[row * width + column]!)) inRow++;
      counts[here + column] = counts[above + column]! + inRow;
    }
  }
}

function shapeLeaves(store: ShapeStore, n: number, grid: PlateGrid, counts: Uint32Array | null): boolean {
  const seesDbu = (x0: number, y0: number, x1: number, y1: number) =>
    seesBox(grid, counts, x0 * store.unitUm, y0 * store.unitUm, x1 * store.unitUm, y1 * store.unitUm);
  if (seesDbu(...shapeBox(store, n))) return false;
  if (isRectangle(store, n)) return true;
  return trapezoidsOf(ringOf(store, n)).some(
    (t) => !seesDbu(Math.min(t.left0, t.left1), t.y0, Math.max(t.right0, t.right1), t.y1),
  );
}

/** A rectangle that ends on the edge of a pixel does not reach into the next one. */
const TINY_PX = 1e-6;

function seesBox(
  grid: PlateGrid,
  counts: Uint32Array | null,
  x0Um: number,
  y0Um: number,
  x1Um: number,
  y1Um: number,
): boolean {
  const [left, bottom] = pixelFromDie(grid, x0Um, y0Um);
  const [right, top] = pixelFromDie(grid, x1Um, y1Um);
  // Pixel n reaches from n - 0.5 to n + 0.5.
  const c0 = Math.floor(left + 0.5 + TINY_PX);
  const c1 = Math.max(c0, Math.ceil(right - 0.5 - TINY_PX));
  const r0 = Math.floor(top + 0.5 + TINY_PX);
  const r1 = Math.max(r0, Math.ceil(bottom - 0.5 - TINY_PX));
  if (c0 < 0 || r0 < 0 || c1 >= grid.width_px || r1 >= grid.height_px) return false;
  if (!counts) return true;
  const w = grid.width_px + 1;
  return (
    counts[(r1 + 1) * w + c1 + 1]! -
      counts[r0 * w + c1 + 1]! -
      counts[(r1 + 1) * w + c0]! +
      counts[r0 * w + c0]! ===
    0
  );
}
