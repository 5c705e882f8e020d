/**
 * How far every layer lies from its drawing in every patch, to a fraction of a voxel: the patch is fitted as the blurred
 * drawing, its two slopes, and a constant; the shares of the slopes are the shift.
 * @source Lucas and Kanade, Proc. 7th International Joint Conference on Artificial Intelligence, 674 (1981).
 */
import { blurPlane } from '../../../../kernels/gaussian-plane.ts';
import type { DieView } from '../die-view.ts';
import { type Patch, patchesOf } from '../patches.ts';

export interface LayerCell {
  /** Index into the layers of the view. */
  readonly layer: number;
  readonly patch: number;
  readonly xUm: number;
  readonly yUm: number;
  /** Where the picture lies against the drawing, micrometres. */
  readonly shiftUm: readonly [number, number];
  /** Inverse of the covariance of the shift, [xx, xy, yy], from the patch's own residuals taken as independent. */
  readonly precision: readonly [number, number, number];
}

/** Blur of a scan in its own voxels, near enough: another one changes how fast the shifts settle, not where. */
const BLUR_PX = 1.2;
/** Shifts beyond this are too long for slopes to tell, pixels. */
const LONGEST_PX = 2.5;
/** The drawing must show in a patch by this many standard deviations. */
const LEAST_SHOWN = 4;
/** Ridge on the slopes, as a share of both. */
const FLAT = 1e-3;
/** Sums of products of [1, drawing, slope x, slope y, scan]. */
const TERMS = 5;

export function measureLayerShifts(
  view: DieView,
  sign: number,
  patches: readonly Patch[] = patchesOf(view),
): LayerCell[] {
  const { frame } = view.grid;
  const { width, height, pixel } = frame;
  const middle = ((patches[0]?.side ?? 1) - 1) / 2;
  const sums = new Float64Array(TERMS * TERMS);
  const cells: LayerCell[] = [];
  view.layers.forEach(({ picture, slab }, layer) => {
    const drawn = blurPlane(picture, width, height, BLUR_PX);
    for (const patch of patches) {
      sumProducts(sums, drawn, slab, view.weight, patch, width, height);
      const fit = shiftOf(sums, sign);
      if (!fit) continue;
      const [xx, xy, yy] = fit.precision;
      cells.push({
        ...{ layer, patch: patch.number },
        xUm: frame.left + (patch.column + middle) * pixel,
        yUm: frame.top - (patch.row + middle) * pixel,
        shiftUm: [fit.u * pixel, -fit.v * pixel],
        precision: [xx / pixel ** 2, -xy / pixel ** 2, yy / pixel ** 2],
      });
    }
  });
  return cells;
}

interface Square {
  readonly column: number;
  readonly row: number;
  readonly side: number;
}

function sumProducts(
  sums: Float64Array,
  drawn: Float32Array,
  slab: Float32Array,
  weight: Float32Array,
  { column, row, side }: Square,
  width: number,
  height: number,
): void {
  sums.fill(0);
  const v = [1, 0, 0, 0, 0];
  for (let r = Math.max(1, row); r < Math.min(height - 1, row + side); r++) {
    for (let c = Math.max(1, column); c < Math.min(width - 1, column + side); c++) {
      const p = r * width + c;
      if (weight[p] === 0) continue;
      v[1] = drawn[p]!;
      v[2] = (drawn[p + 1]! - drawn[p - 1]!) / 2;
      v[3] = (drawn[p + width]! - drawn[p - width]!) / 2;
      v[4] = slab[p]!;
      for (let a = 0; a < TERMS; a++)
        for (let b = a; b < TERMS; b++) sums[a * TERMS + b] = sums[a * TERMS + b]! + v[a]! * v[b]!;
    }
  }
}

/** Least squares of the scan on constant, drawing and slopes, from the sums of their products. */
function shiftOf(
  sums: Float64Array,
  sign: number,
): { u: number; v: number; precision: [number, number, number] } | null {
  const s = (a: number, b: number): number => sums[a * TERMS + b]!;
  const count = s(0, 0);
  if (count < 50) return null;
  // Constant and drawing are swept out, one after the other; what is left of the slopes speaks of the shift alone.
  const left = (a: number, b: number): number => s(a, b) - (s(0, a) * s(0, b)) / count;
  const drawn = left(1, 1);
  if (!(drawn > 1e-6 * count)) return null;
  const gain = left(1, 4) / drawn;
  const rest = (a: number, b: number): number => left(a, b) - (left(1, a) * left(1, b)) / drawn;
  const [xx, xy, yy] = [rest(2, 2), rest(2, 3), rest(3, 3)];
  const [bx, by] = [rest(2, 4), rest(3, 4)];
  if (!(xx + yy > 0) || !(sign * gain > 0)) return null;
  // Edges one way tell nothing along them: there the shift stays 0, and its precision nothing.
  const [px, py] = [xx + FLAT * (xx + yy), yy + FLAT * (xx + yy)];
  const determinant = px * py - xy * xy;
  const cx = (py * bx - xy * by) / determinant;
  const cy = (px * by - xy * bx) / determinant;
  const variance = Math.max(1e-9, rest(4, 4) - cx * bx - cy * by) / (count - 4);
  if (gain ** 2 * drawn < LEAST_SHOWN ** 2 * variance) return null;
  // scan = gain * drawing(x - shift): the slopes come with -gain * shift.
  const [u, v] = [-cx / gain, -cy / gain];
  if (Math.hypot(u, v) > LONGEST_PX) return null;
  const scale = gain ** 2 / variance;
  return { u, v, precision: [xx * scale, xy * scale, yy * scale] };
}
