/**
 * Oracle for the resampling of plates: the cubic convolution of Keys (IEEE Trans. ASSP 29, 1153 (1981), eq. 15 with
 * a = -1/2) written out voxel by voxel, without tables, windows or fast paths.
 */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { resamplePlate, slicesNeeded } from '../../pipeline/kernels/resample.ts';
import { type Affine3, apply3, invert3 } from '../../shared/affine.ts';
import { dieFromPixel, type PlateGrid } from '../../shared/frames.ts';

function keys(distance: number): number {
  const s = Math.abs(distance);
  if (s <= 1) return 1.5 * s ** 3 - 2.5 * s ** 2 + 1;
  if (s < 2) return -0.5 * s ** 3 + 2.5 * s ** 2 - 4 * s + 2;
  return 0;
}

const clamp = (n: number, size: number) => Math.min(size - 1, Math.max(0, n));

function direct(volume: Float32Array, [nz, ny, nx]: number[], [i, j, k]: readonly number[]): number {
  let value = 0;
  for (let dk = -1; dk <= 2; dk++)
    for (let dj = -1; dj <= 2; dj++)
      for (let di = -1; di <= 2; di++) {
        const [a, b, c] = [Math.floor(i!) + di, Math.floor(j!) + dj, Math.floor(k!) + dk];
        const voxel = volume[(clamp(c, nz!) * ny! + clamp(b, ny!)) * nx! + clamp(a, nx!)]!;
        value += keys(i! - a) * keys(j! - b) * keys(k! - c) * voxel;
      }
  return value;
}

function noise(length: number, seed: number): Float32Array {
  let state = seed >>> 0;
  return Float32Array.from({ length }, () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return state / 2 ** 32;
  });
}

const sliceOf = (volume: Float32Array, nx: number, ny: number) => (k: number) =>
  volume.subarray(k * nx * ny, (k + 1) * nx * ny);

describe('resamplePlate', () => {
  it('agrees with the direct sum for any rotation, tilt, scale and mirror', () => {
    fc.assert(
      fc.property(
        fc.tuple(
          fc.integer({ min: 1, max: 9 }),
          fc.integer({ min: 2, max: 12 }),
          fc.integer({ min: 2, max: 12 }),
        ),
        fc.double({ min: 0, max: 6.28, noNaN: true }),
        fc.double({ min: -0.2, max: 0.2, noNaN: true }),
        fc.boolean(),
        fc.double({ min: 0.1, max: 3, noNaN: true }),
        fc.integer({ min: 1, max: 1e6 }),
        ([nz, ny, nx], angle, tilt, mirror, pixel, seed) => {
          const volume = noise(nz * ny * nx, seed);
          const sign = mirror ? -1 : 1;
          const voxelToDie: Affine3 = [
            [Math.cos(angle), Math.sin(angle) * sign, 0, 5],
            [Math.sin(angle), -Math.cos(angle) * sign, 0.05, -3],
            [tilt, tilt / 2, 0.9, 0.4],
          ];
          const dieToVoxel = invert3(voxelToDie);
          const grid: PlateGrid = { origin_um: [-2, 6], pixel_um: pixel, width_px: 14, height_px: 11 };
          const z = apply3(voxelToDie, [nx / 2, ny / 2, nz / 2 - 0.3])[2];
          const out = new Float32Array(14 * 11);
          const filled = resamplePlate(
            { nx, ny, nz, mask: null, slice: sliceOf(volume, nx, ny) },
            dieToVoxel,
            grid,
            z,
            out,
          );
          let count = 0;
          for (let row = 0; row < 11; row++)
            for (let column = 0; column < 14; column++) {
              const at = apply3(dieToVoxel, [...dieFromPixel(grid, column, row), z]);
              const inside = [nx, ny, nz].every((size, axis) => at[axis]! >= -0.5 && at[axis]! < size - 0.5);
              const got = out[row * 14 + column]!;
              expect(Number.isNaN(got)).toBe(!inside);
              if (!inside) continue;
              count++;
              // The kernel's weights are tabulated at 1/1024 voxel: noise in 0..1 moves by no more than a few 1e-3.
              expect(Math.abs(got - direct(volume, [nz, ny, nx], at))).toBeLessThan(4e-3);
            }
          expect(filled).toBe(count);
        },
      ),
      { seed: 7, numRuns: 150 },
    );
  });

  it('returns the voxels themselves where the grids coincide', () => {
    const [nz, ny, nx] = [3, 4, 5];
    const volume = noise(60, 3);
    const dieToVoxel: Affine3 = [
      [1, 0, 0, 0],
      [0, -1, 0, 3],
      [0, 0, 1, 0],
    ];
    const grid: PlateGrid = { origin_um: [0, 3], pixel_um: 1, width_px: nx, height_px: ny };
    const out = new Float32Array(20);
    expect(
      resamplePlate({ nx, ny, nz, mask: null, slice: sliceOf(volume, nx, ny) }, dieToVoxel, grid, 1, out),
    ).toBe(20);
    expect([...out]).toEqual([...volume.subarray(20, 40)]);
  });

  it('reproduces a linear ramp exactly inside, since cubic convolution is exact there (Keys 1981)', () => {
    const [nz, ny, nx] = [8, 9, 10];
    const volume = new Float32Array(nz * ny * nx);
    for (let k = 0; k < nz; k++)
      for (let j = 0; j < ny; j++)
        for (let i = 0; i < nx; i++) volume[(k * ny + j) * nx + i] = 2 * i - 3 * j + 5 * k;
    const dieToVoxel: Affine3 = [
      [0.5, 0.1, 0.02, 3],
      [0.08, -0.5, 0, 4.2],
      [0.01, 0.02, 1, 3.3],
    ];
    const grid: PlateGrid = { origin_um: [0, 1], pixel_um: 0.5, width_px: 6, height_px: 5 };
    const out = new Float32Array(30);
    resamplePlate({ nx, ny, nz, mask: null, slice: sliceOf(volume, nx, ny) }, dieToVoxel, grid, 0.2, out);
    for (let row = 0; row < 5; row++)
      for (let column = 0; column < 6; column++) {
        const [i, j, k] = apply3(dieToVoxel, [...dieFromPixel(grid, column, row), 0.2]);
        // Within the half step of the weight table: (2 + 3 + 5) / 2048.
        expect(Math.abs(out[row * 6 + column]! - (2 * i - 3 * j + 5 * k))).toBeLessThan(5e-3);
      }
  });

  it('asks only for the slices that slicesNeeded names, and keeps out what the mask and NaN keep out', () => {
    const [nz, ny, nx] = [40, 6, 6];
    const dieToVoxel: Affine3 = [
      [1, 0, 0, 0],
      [0, -1, 0, 5],
      [0.2, 0, 1, 0],
    ];
    const grid: PlateGrid = { origin_um: [0, 5], pixel_um: 1, width_px: nx, height_px: ny };
    const range = slicesNeeded(dieToVoxel, grid, 20, nz);
    // k runs from 20 to 21: one slice before, two after, half-open.
    expect(range).toEqual([19, 24]);
    const mask = new Uint8Array(36).fill(1);
    mask[0] = 0;
    const out = new Float32Array(36);
    const slice = (k: number) => {
      expect(k).toBeGreaterThanOrEqual(range[0]);
      expect(k).toBeLessThan(range[1]);
      const values = new Float32Array(36).fill(1);
      values[35] = Number.NaN;
      return values;
    };
    resamplePlate({ nx, ny, nz, mask, slice }, dieToVoxel, grid, 20, out);
    expect(out[0]).toBeNaN();
    expect(out[35]).toBeNaN();
    expect(out[14]).toBeCloseTo(1, 6);
  });
});
