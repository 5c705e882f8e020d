import { describe, expect, it } from 'vitest';
import { resamplePlate, slicesNeeded } from '../../../pipeline/kernels/resample.ts';
import { warpOnGrid } from '../../../pipeline/kernels/warp-on-grid.ts';
import type { Warp } from '../../../shared/artefacts/placement.ts';
import { displacementAt, withoutWarp } from '../../../shared/warp.ts';

/** A plane has a closed form: bilinear interpolation gives it back exactly. */
const dx = (x: number, y: number): number => 0.02 + 0.003 * x - 0.001 * y;
const dy = (x: number, y: number): number => -0.01 + 0.002 * y + 0.0005 * x;
const dz = (x: number, y: number): number => 0.05 - 0.001 * x - 0.002 * y;

function planes(): Warp {
  const points = Array.from({ length: 30 }, (_, n) => [2 + 3 * (n % 6), -4 + 3 * Math.floor(n / 6)] as const);
  return {
    origin_um: [2, -4],
    step_um: 3,
    shape: [5, 6],
    dx_um: points.map(([x, y]) => dx(x, y)),
    dy_um: points.map(([x, y]) => dy(x, y)),
    dz_um: points.map(([x, y]) => dz(x, y)),
  };
}

describe('warp', () => {
  it('is linear between its points, the first at the lowest x and y', () => {
    for (const [x, y] of [
      [2, -4],
      [3.7, 0.2],
      [16.9, 7.9],
    ] as const) {
      const [a, b, c] = displacementAt(planes(), x, y);
      expect(a).toBeCloseTo(dx(x, y), 12);
      expect(b).toBeCloseTo(dy(x, y), 12);
      expect(c).toBeCloseTo(dz(x, y), 12);
    }
  });

  it('is held beyond its border', () => {
    expect(displacementAt(planes(), -50, -50)[0]).toBeCloseTo(dx(2, -4), 12);
    expect(displacementAt(planes(), 500, 500)[1]).toBeCloseTo(dy(17, 8), 12);
  });

  it('is undone: a point moved by it comes back', () => {
    const [x, y, z] = [7.3, 2.1, 1.5];
    const moved = displacementAt(planes(), x, y).map((d, n) => d + [x, y, z][n]!);
    const back = withoutWarp(planes(), moved[0]!, moved[1]!, moved[2]!);
    back.forEach((value, n) => {
      expect(value).toBeCloseTo([x, y, z][n]!, 5);
    });
  });

  it('on a grid says how far each pixel was moved', () => {
    const grid = { origin_um: [6, 3] as const, pixel_um: 0.5, width_px: 4, height_px: 3 };
    const field = warpOnGrid(planes(), grid);
    const [x, y] = [6 + 2 * 0.5, 3 - 0.5];
    const [px, py, pz] = withoutWarp(planes(), x, y, 0);
    expect(field.x[4 + 2]).toBeCloseTo(x - px, 6);
    expect(field.y[4 + 2]).toBeCloseTo(y - py, 6);
    expect(field.z[4 + 2]).toBeCloseTo(-pz, 6);
  });
});

describe('plates of a bent scan', () => {
  // A volume whose grey is a straight line along each axis: cubic convolution gives lines back exactly.
  const [nx, ny, nz] = [40, 30, 12];
  const grey = (i: number, j: number, k: number): number => 3 * i - 2 * j + 5 * k;
  const slice = (k: number): Float64Array =>
    Float64Array.from({ length: nx * ny }, (_, p) => grey(p % nx, Math.floor(p / nx), k));
  // Voxels of 1 um; y runs against the rows, z with the slices.
  const dieToVoxel = [
    [1, 0, 0, 0],
    [0, -1, 0, 20],
    [0, 0, 1, 0],
  ] as const;
  const grid = { origin_um: [10, 8] as const, pixel_um: 1, width_px: 5, height_px: 4 };
  const still = { shape: [2, 2] as [number, number], origin_um: [0, -10] as [number, number], step_um: 60 };
  const even = (x: number, y: number, z: number): Warp => ({
    ...still,
    dx_um: [x, x, x, x],
    dy_um: [y, y, y, y],
    dz_um: [z, z, z, z],
  });

  it('show at each place what the warp moved there', () => {
    const out = new Float32Array(20);
    resamplePlate({ nx, ny, nz, mask: null, slice }, dieToVoxel, grid, 5, out, even(1.5, -0.5, 0.25));
    // Die (12, 7, 5) shows what the map alone puts at (10.5, 7.5, 4.75): voxel (10.5, 12.5, 4.75).
    expect(out[5 + 2]).toBeCloseTo(grey(10.5, 12.5, 4.75), 3);
  });

  it('need the slices that the warp reaches', () => {
    const [first, end] = slicesNeeded(dieToVoxel, grid, 5, nz, even(0, 0, 2));
    expect(first).toBeLessThanOrEqual(2);
    expect(end).toBeGreaterThanOrEqual(6);
  });
});
