/** Oracle for a work volume seen in another frame: every place by itself, from its eight neighbours. */
import { describe, expect, it } from 'vitest';
import { type FrameGrid, resampleFrame } from '../../pipeline/stages/place/automatic/frame-volume.ts';
import type { WorkVolume } from '../../pipeline/stages/place/automatic/work-volume.ts';
import { type Affine3, apply3, invert3 } from '../../shared/affine.ts';
import { generator } from '../fixtures/random.ts';

/** @source trilinear interpolation: the weight of a corner is the product of one minus its distance along each axis. */
function between(work: WorkVolume, [i, j, k]: readonly [number, number, number]): number | null {
  const { nx, ny, nz } = work;
  if (!(i >= 0 && j >= 0 && k >= 0 && i < nx - 1 && j < ny - 1 && k <= nz - 1)) return null;
  let sum = 0;
  for (let c = 0; c < nz; c++)
    for (let b = 0; b < ny; b++)
      for (let a = 0; a < nx; a++) {
        const share = [i - a, j - b, k - c].reduce((all, d) => all * Math.max(0, 1 - Math.abs(d)), 1);
        sum += share * work.voxels[(c * ny + b) * nx + a]!;
      }
  return sum;
}

function scene(seed: number) {
  const next = generator(seed);
  const amount = (low: number, high: number): number => low + (high - low) * next();
  const [nx, ny, nz] = [4, 4, 2].map((least) => least + Math.floor(3 * next())) as [number, number, number];
  const work = {
    ...{ nx, ny, nz, voxels: Float32Array.from({ length: nx * ny * nz }, () => next()) },
    weight: Float32Array.from({ length: nx * ny }, () => (next() < 0.8 ? 1 : 0)),
  } as unknown as WorkVolume;
  const turn = seed % 4 === 0 ? 0 : amount(-3.2, 3.2);
  const [cos, sin] = [Math.cos(turn), Math.sin(turn)];
  // One seed in four lies straight, on the voxels: its rows run along an axis.
  const tilt = seed % 4 === 0 ? 0 : amount(-0.1, 0.1);
  const map: Affine3 = [
    [cos, sin, tilt, amount(-0.2, 0.2)],
    [sin, -cos, -tilt, seed % 4 === 0 ? 0 : amount(-0.2, 0.2)],
    [-tilt, tilt, seed % 2 === 0 ? 1 : -1, 0],
  ];
  const [x, y, z] = apply3(map, [(nx - 1) / 2, (ny - 1) / 2, (nz - 1) / 2]);
  const grid: FrameGrid = {
    ...{ left: x - 4, top: y + 4, pixel: amount(0.6, 1), width: 11, height: 12 },
    ...{ bottom: z - 2, step: 0.5, count: 9 },
  };
  const moves = (): Float64Array => Float64Array.from({ length: 11 * 12 }, () => amount(-0.4, 0.4));
  return { work, map, grid, bend: { x: moves(), y: moves(), z: moves() } };
}

const seeds = Array.from({ length: 12 }, (_, n) => n);

describe('a volume in another frame', () => {
  it.each(seeds)('is what lies between its voxels, straight and bent, seed %d', (seed) => {
    const { work, map, grid, bend } = scene(seed);
    for (const moved of [null, bend]) {
      const seen = resampleFrame(work, map, grid, moved as never);
      let filled = 0;
      for (let n = 0; n < grid.count; n++)
        for (let p = 0; p < grid.width * grid.height; p++) {
          const [column, row] = [p % grid.width, Math.floor(p / grid.width)];
          const at = [
            grid.left + column * grid.pixel - (moved ? moved.x[p]! : 0),
            grid.top - row * grid.pixel - (moved ? moved.y[p]! : 0),
            grid.bottom + n * grid.step - (moved ? moved.z[p]! : 0),
          ] as const;
          const voxel = apply3(invert3(map), at);
          const expected = between(work, voxel);
          if (expected !== null) filled++;
          expect(seen.values[n * grid.width * grid.height + p]).toBeCloseTo(expected ?? 0, 5);
          const [i, j] = voxel;
          if (n === grid.count >> 1)
            expect(seen.weight[p]).toBe(
              i >= 0 && j >= 0 && i < work.nx - 1 && j < work.ny - 1
                ? work.weight[Math.floor(j) * work.nx + Math.floor(i)]
                : 0,
            );
        }
      expect(filled).toBeGreaterThan(10);
    }
  });

  it.each(seeds)('adds up from the lowest height, seed %d', (seed) => {
    const { work, map, grid, bend } = scene(seed);
    const single = resampleFrame(work, map, grid, bend as never).values;
    const summed = resampleFrame(work, map, grid, bend as never, true).values;
    const area = grid.width * grid.height;
    expect(summed.length).toBe(single.length + area);
    for (let p = 0; p < area; p++) {
      let sum = 0;
      for (let n = 0; n <= grid.count; n++) {
        expect(summed[n * area + p]).toBeCloseTo(sum, 4);
        if (n < grid.count) sum += single[n * area + p]!;
      }
    }
  });
});
