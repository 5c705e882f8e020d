/**
 * Oracle for the program that sums voxels in vector registers: the plain sums of the same rule in double precision, which
 * `resample-direct.test.ts` holds against Keys' formula. The module itself is judged by the engine's validator and, where
 * Debian's wabt is there, by its own.
 */
import { execFileSync } from 'node:child_process';
import { existsSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { type CubicType, cubicProgram } from '../../pipeline/kernels/cubic-program.ts';
import type { HeldSlice } from '../../pipeline/kernels/cubic-sums.ts';
import { cubicSums, resamplePlate, slicesNeeded } from '../../pipeline/kernels/resample.ts';
import type { Affine3 } from '../../shared/affine.ts';
import type { Warp } from '../../shared/artefacts/placement.ts';
import type { PlateGrid } from '../../shared/frames.ts';
import { generator } from '../fixtures/random.ts';

const TYPES: Record<CubicType, { make: (length: number) => HeldSlice; low: number; span: number }> = {
  uint8: { make: (n) => new Uint8Array(n), low: 0, span: 256 },
  int8: { make: (n) => new Int8Array(n), low: -128, span: 256 },
  uint16: { make: (n) => new Uint16Array(n), low: 0, span: 65_536 },
  int16: { make: (n) => new Int16Array(n), low: -32_768, span: 65_536 },
  float32: { make: (n) => new Float32Array(n), low: -3, span: 6 },
};
const [nz, ny, nx] = [12, 41, 53];
const grid: PlateGrid = { origin_um: [-4, 44], pixel_um: 0.71, width_px: 79, height_px: 70 };
const TURNED: Affine3 = [
  [0.97, 0.21, 0.01, -0.4],
  [0.2, -0.96, 0.02, 39.1],
  [0.11, 0.05, 1, 0.2],
];
const UPRIGHT: Affine3 = [
  [1, 0, 0, 0.25],
  [0, -1, 0, 40],
  [0, 0, 1, 0.5],
];
const mask = Uint8Array.from({ length: nx * ny }, (_, n) =>
  Math.hypot((n % nx) - 26, Math.floor(n / nx) - 20) < 19 ? 1 : 0,
);
const warp: Warp = {
  ...{ origin_um: [-5, -8], step_um: 30, shape: [3, 3] },
  ...{ dx_um: [0, 1, 0, 1, 2, 1, 0, 1, 0], dy_um: [1, 0, 1, 0, -1, 0, 1, 0, 1] },
  dz_um: [0, 0.3, 0, 0.3, 0.6, 0.3, 0, 0.3, 0],
};

describe.each(Object.keys(TYPES) as CubicType[])('the program for %s', (type) => {
  const { make, low, span } = TYPES[type];
  const random = generator(88);
  const slices = Array.from({ length: nz }, () => {
    const slice = make(nx * ny);
    for (let n = 0; n < slice.length; n++) slice[n] = low + span * random();
    return slice;
  });
  // What is no number makes what it would weigh none, in both.
  if (type === 'float32') for (let n = 7; n < nx * ny; n += 331) slices[5]![n] = Number.NaN;

  it.each([
    ['a turned plate', TURNED, null, null],
    ['a round field', TURNED, mask, null],
    ['a bent field', TURNED, mask, warp],
    ['an upright plate, rows and slices met', UPRIGHT, null, null],
  ] as const)('agrees with plain sums to single precision: %s', (_, dieToVoxel, mask, warp) => {
    for (const z of [-0.4, 0.7, 3.3, 5, 9.6]) {
      const [first, end] = slicesNeeded(dieToVoxel, grid, z, nz, warp);
      if (end <= first) continue;
      const sums = cubicSums({ type, nx, ny, nz, mask }, end - first, grid.width_px)!;
      const held = slices.slice(first, end).map((slice) => sums.hold(slice));
      expect(() => sums.hold(slices[0]!)).toThrow(RangeError);
      const [plain, fast] = [new Float32Array(79 * 70), new Float32Array(79 * 70)];
      const plates = { nx, ny, nz, mask };
      const filled = resamplePlate({ ...plates, slice: (k) => slices[k]! }, dieToVoxel, grid, z, plain, warp);
      const count = resamplePlate(
        { ...plates, sums, slice: (k) => held[k - first]! },
        ...([dieToVoxel, grid, z, fast, warp] as const),
      );
      expect(count).toBe(filled);
      let worst = 0;
      for (const [n, value] of plain.entries()) {
        if (Number.isNaN(value)) expect(fast[n]).toBeNaN();
        else worst = Math.max(worst, Math.abs(fast[n]! - value));
      }
      // 64 products, each rounded to 2^-24 of the largest value, under weights whose sizes add up to less than 2.
      expect(worst).toBeLessThan(64 * 2 * (Math.abs(low) + span) * 2 ** -24);
      if (z > 3 && z < 9) expect(filled).toBeGreaterThan(1000);
    }
  });

  it('keeps places of slices that were let go of, and takes the same memory again', () => {
    const shape = { type, nx, ny, nz, mask };
    const sums = cubicSums(shape, 2, 10)!;
    const [a, b] = [sums.hold(slices[0]!), sums.hold(slices[1]!)];
    sums.release(a);
    const c = sums.hold(slices[2]!);
    expect(c.byteOffset).toBe(a.byteOffset);
    expect([...b]).toEqual([...slices[1]!]);
    expect(sums.reuse(shape, 2, 10)).toBe(true);
    sums.hold(slices[3]!);
    sums.hold(slices[4]!);
    expect(() => sums.hold(slices[5]!)).toThrow(RangeError);
    expect(sums.reuse(shape, 3, 10)).toBe(false);
    expect(sums.reuse({ ...shape, mask: null }, 2, 10)).toBe(false);
    expect(sums.reuse({ ...shape, nx: nx + 1 }, 2, 10)).toBe(false);
  });

  it('is a valid module', () => {
    expect(WebAssembly.validate(cubicProgram(type, 1024))).toBe(true);
    // @source wasm-validate of Debian's wabt
    if (!existsSync('/usr/bin/wasm-validate')) return;
    const folder = mkdtempSync(join(tmpdir(), 'program-'));
    writeFileSync(join(folder, 'a.wasm'), cubicProgram(type, 1024));
    execFileSync('/usr/bin/wasm-validate', [join(folder, 'a.wasm')]);
    rmSync(folder, { recursive: true });
  });
});

it('is not for other number types, nor for more slices than addresses', () => {
  const shape = { type: 'float64', nx, ny, nz, mask: null };
  expect(cubicSums(shape, 2, 10)).toBeNull();
  expect(cubicSums({ ...shape, type: 'uint32' }, 2, 10)).toBeNull();
  expect(cubicSums({ ...shape, type: 'uint16', nx: 30_000, ny: 30_000 }, 3, 10)).toBeNull();
});
