/** The object in one slice of the transformed grid: contrast of every layer the slice passes through, plus noise. */
import { mixBits, xorshift32 } from '../random.ts';
import type { BentPlanes } from './distortion.ts';
import type { VolumePlan } from './volume-plan.ts';

/** Coverage of a layer at its bottom and at its top, on the transformed grid. */
export interface LayerPlanes {
  readonly bottom: Float32Array;
  readonly top: Float32Array;
}

/** 1 inside the scan, falling to 0 at the rim of the margin, so that the periodic grid has no step. */
export function taper(length: number, origin: number, inner: number): Float64Array {
  const rise = (d: number, width: number): number =>
    d <= 0 ? 1 : d >= width ? 0 : 0.5 + 0.5 * Math.cos((Math.PI * d) / width);
  return Float64Array.from({ length }, (_, n) => {
    const before = origin - n;
    const after = n - (origin + inner - 1);
    return Math.min(rise(before, origin), rise(after, length - origin - inner));
  });
}

/**
 * Adds up the object in grid slice `slice`. Blanket films are left out: they are even over the wafer, so that their
 * whole spectrum lies on the axis of the missing cone and none of it is ever measured.
 */
export function drawSlice(
  plan: VolumePlan,
  planes: readonly LayerPlanes[],
  slice: number,
  out: Float64Array,
  bend: BentPlanes | null = null,
): void {
  const [nx, ny] = plan.grid;
  out.fill(0);
  const k = slice - plan.origin[2];
  const [zi, zj, zk, z0] = plan.map[2];
  const half = Math.abs(zk) / 2;
  const slack = (Math.abs(zi) * nx + Math.abs(zj) * ny) / 2 + half + (bend?.mostZ ?? 0);
  const middle = zi * (nx / 2 - plan.origin[0]) + zj * (ny / 2 - plan.origin[1]) + zk * k + z0;
  plan.layers.forEach((layer, l) => {
    const { bottomUm, topUm, contrast } = layer;
    if (middle + slack < bottomUm || middle - slack > topUm) return;
    const { bottom, top } = planes[l] as LayerPlanes;
    const perThickness = 1 / (topUm - bottomUm);
    for (let row = 0; row < ny; row++) {
      const zRow = zj * (row - plan.origin[1]) - zi * plan.origin[0] + zk * k + z0;
      for (let column = 0; column < nx; column++) {
        const at = row * nx + column;
        const z = zRow + zi * column + (bend ? (bend.z[at] as number) : 0);
        const low = Math.max(z - half, bottomUm);
        const high = Math.min(z + half, topUm);
        if (high <= low) continue;
        const b = bottom[at] as number;
        const up = ((low + high) / 2 - bottomUm) * perThickness;
        const covered = b + ((top[at] as number) - b) * up;
        out[at] = (out[at] as number) + (contrast * covered * (high - low)) / (2 * half);
      }
    }
  });
}

/** White noise of standard deviation `sd`, evenly distributed: filtering makes it normal. */
export function addNoise(seed: number, slice: number, sd: number, out: Float64Array): void {
  if (sd === 0) return;
  let state = mixBits(mixBits(seed) ^ Math.imul(slice + 1, 0x9e3779b1)) | 0 || 1;
  // An even distribution of width w has a standard deviation of w / sqrt(12).
  const scale = (sd * Math.sqrt(12)) / 4294967296;
  for (let i = 0; i < out.length; i++) {
    state = xorshift32(state);
    out[i] = (out[i] as number) + state * scale;
  }
}
