/**
 * What the instrument lets through: a Gaussian point spread, and nothing inside the missing cone of laminography.
 *
 * With the rotation axis at an angle theta to the beam, no projection reaches spatial frequencies within
 * 90 - theta degrees of the axis. @source Fourier slice theorem; the axis is the slice normal, k_z of the volume.
 */
import { type Degrees, radiansFromDegrees } from '../../shared/units.ts';

export interface Instrument {
  /** Standard deviation of the point spread, micrometres. */
  readonly spreadUm: number;
  /** Half-angle of the missing cone: 90 degrees minus the laminography angle. */
  readonly coneDeg: Degrees;
  /** The response rises from nothing to all over this angle outside the cone. */
  readonly coneEdgeDeg: Degrees;
}

export interface TransferTables {
  /** Gaussian factor along each axis of the transformed grid. */
  readonly gx: Float64Array;
  readonly gy: Float64Array;
  readonly gz: Float64Array;
  /** Frequencies in cycles per micrometre. */
  readonly kx: Float64Array;
  readonly ky: Float64Array;
  readonly kz: Float64Array;
  readonly tanInner: number;
  readonly tanOuter: number;
}

function frequencies(length: number, voxelUm: number): Float64Array {
  return Float64Array.from({ length }, (_, n) => (n <= length / 2 ? n : n - length) / (length * voxelUm));
}

/** Tables for a grid of the given size; the half of x that a real transform keeps would do, all of it is given. */
export function transferTables(
  size: readonly [number, number, number],
  voxelUm: readonly [number, number, number],
  instrument: Instrument,
): TransferTables {
  const k = size.map((n, axis) => frequencies(n, voxelUm[axis] as number));
  const [kx, ky, kz] = k as [Float64Array, Float64Array, Float64Array];
  const spread = 2 * Math.PI * Math.PI * instrument.spreadUm ** 2;
  const gaussian = (f: Float64Array): Float64Array => f.map((v) => Math.exp(-spread * v * v));
  const inner = radiansFromDegrees(instrument.coneDeg);
  return {
    ...{ gx: gaussian(kx), gy: gaussian(ky), gz: gaussian(kz), kx, ky, kz },
    tanInner: Math.tan(inner),
    tanOuter: Math.tan(inner + radiansFromDegrees(instrument.coneEdgeDeg)),
  };
}

/** Weight of a frequency by its angle to the axis: 0 inside the cone, 1 well outside, smooth between. */
export function coneWeight(radial: number, axial: number, tanInner: number, tanOuter: number): number {
  const along = Math.abs(axial);
  if (radial <= tanInner * along) return 0;
  if (radial >= tanOuter * along) return radial > 0 ? 1 : 0;
  const t = (radial / along - tanInner) / (tanOuter - tanInner);
  return t * t * (3 - 2 * t);
}

/** Mean square of the transfer over the grid: the share of the power of white noise that passes. */
export function passedPower(tables: TransferTables): number {
  const { gx, gy, gz, kx, ky, kz } = tables;
  // Symmetric in the sign of every axis: one octant, weighted by how often each frequency occurs.
  const weight = (n: number, length: number): number => (n === 0 || 2 * n === length ? 1 : 2);
  let sum = 0;
  for (let x = 0; x <= kx.length / 2; x++)
    for (let y = 0; y <= ky.length / 2; y++) {
      const radial = Math.hypot(kx[x] as number, ky[y] as number);
      const lateral = (gx[x] as number) * (gy[y] as number);
      const times = weight(x, kx.length) * weight(y, ky.length);
      for (let z = 0; z <= kz.length / 2; z++) {
        const w = coneWeight(radial, kz[z] as number, tables.tanInner, tables.tanOuter);
        const h = lateral * (gz[z] as number) * w;
        sum += times * weight(z, kz.length) * h * h;
      }
    }
  return sum / (kx.length * ky.length * kz.length);
}
