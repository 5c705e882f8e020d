import { describe, expect, it } from 'vitest';
import { plateWindows } from '../../../pipeline/stages/plate/plate-windows.ts';
import type { Affine3 } from '../../../shared/affine.ts';

const upright: Affine3 = [
  [1, 0, 0, 0],
  [0, -1, 0, 0],
  [0, 0, 1, 0],
];
const grid = { origin_um: [0, 0], pixel_um: 1, width_px: 10, height_px: 10 } as const;
const z = Array.from({ length: 60 }, (_, n) => n);

describe('windows of plates', () => {
  // A bright layer from slice 20 to 29 in a faint stack: tungsten plugs below aluminium.
  const slices = z.map((k) => (k >= 20 && k < 30 ? { black: 0, white: 1000 } : { black: 90, white: 110 }));
  const windows = plateWindows(slices, upright, grid, z);

  it('hold the greys of all slices that a plate draws on', () => {
    for (const n of z)
      for (let k = Math.max(0, n - 1); k <= Math.min(59, n + 2); k++) {
        expect(windows[n]!.black).toBeLessThan(slices[k]!.black);
        expect(windows[n]!.white).toBeGreaterThan(slices[k]!.white);
      }
  });

  it('stay narrow away from a bright layer', () => {
    expect(windows[5]!.white - windows[5]!.black).toBeCloseTo(22, 6);
    expect(windows[50]!.white - windows[50]!.black).toBeCloseTo(22, 6);
  });

  it('take in what a tilted plate crosses, and pass over broken slices', () => {
    const tilted: Affine3 = [upright[0], upright[1], [2, 0, 1, 0]];
    expect(plateWindows(slices, tilted, grid, z)[8]!.white).toBeGreaterThan(1000);
    const broken = slices.map((w, k) => (k === 7 ? null : w));
    expect(plateWindows(broken, upright, grid, z)[7]!.white).toBeLessThan(120);
    expect(
      plateWindows(
        z.map(() => null),
        upright,
        grid,
        [0],
      )[0]!.white,
    ).toBeGreaterThan(0);
  });
});
