/** From electron density to the 16-bit grey of the files, with the slow drift of a real reconstruction. */
import type { VolumePlan } from './volume-plan.ts';

/** Value of the files outside a circular field. */
const PADDING = { zero: 0, constant: 65535, nan: Number.NaN } as const;

/** Drift of one pixel: grey value = zero + perUnit (value gain + steady + w across), w from -1 to 1 down the slices. */
export interface DriftPlanes {
  readonly gain: Float32Array;
  readonly steady: Float32Array;
  readonly across: Float32Array;
  /** 0 outside the circular field. */
  readonly seen: Uint8Array;
}

/** The drift of every pixel of the scan, computed once. */
export function driftPlanes(plan: Pick<VolumePlan, 'shape' | 'grey' | 'circular'>): DriftPlanes {
  const [nx, ny] = plan.shape;
  const { drift } = plan.grey;
  const out: DriftPlanes = {
    gain: new Float32Array(nx * ny),
    steady: new Float32Array(nx * ny),
    across: new Float32Array(nx * ny),
    seen: new Uint8Array(nx * ny),
  };
  const [cos, sin] = [Math.cos(drift.direction), Math.sin(drift.direction)];
  const radius = Math.min(nx, ny) / 2;
  for (let j = 0; j < ny; j++) {
    const v = (2 * j) / (ny - 1) - 1;
    for (let i = 0; i < nx; i++) {
      const u = (2 * i) / (nx - 1) - 1;
      const along = cos * u + sin * v;
      const across = cos * v - sin * u;
      const at = j * nx + i;
      out.gain[at] = 1 + drift.gain * across;
      out.steady[at] = drift.amplitude * (along + 0.6 * Math.sin(2 * across + drift.phase));
      out.across[at] = 0.3 * drift.amplitude * across;
      const inside = Math.hypot(i - (nx - 1) / 2, j - (ny - 1) / 2) <= radius;
      out.seen[at] = !plan.circular || inside ? 1 : 0;
    }
  }
  return out;
}

/**
 * Grey values of one slice of the scan. Outside a circular field, and nowhere else, they are what the conditions say:
 * 0, a constant above all greys, or NaN.
 * @param image the slice on the transformed grid, e/A^3 above the oxide
 * @param out pixels to write over
 */
export function greySlice<Pixels extends Uint16Array | Float32Array>(
  plan: VolumePlan,
  drift: DriftPlanes,
  image: Float64Array,
  slice: number,
  out: Pixels,
): Pixels {
  const [nx, ny, nz] = plan.shape;
  const { zero, perUnit } = plan.grey;
  const padding = PADDING[plan.conditions.outside];
  const w = nz > 1 ? (2 * slice) / (nz - 1) - 1 : 0;
  for (let j = 0; j < ny; j++) {
    const row = (j + plan.origin[1]) * plan.grid[0] + plan.origin[0];
    for (let i = 0; i < nx; i++) {
      const at = j * nx + i;
      if (drift.seen[at] === 0) {
        out[at] = padding;
        continue;
      }
      const slow = (drift.steady[at] as number) + w * (drift.across[at] as number);
      const value = (image[row + i] as number) * (drift.gain[at] as number) + slow;
      out[at] = Math.min(65534, Math.max(1, Math.round(zero + perUnit * value)));
    }
  }
  return out;
}
