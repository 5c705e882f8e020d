/** How a search is cut among threads: nothing left out, nothing done twice. */
import { describe, expect, it } from 'vitest';
import { halved } from '../../../pipeline/stages/place/automatic/layout-pictures.ts';
import { planSearch } from '../../../pipeline/stages/place/automatic/search-plan.ts';
import type { Pose } from '../../../pipeline/stages/place/automatic/search-task.ts';
import { generator } from '../../fixtures/random.ts';

describe('the plan of a search', () => {
  it.each(Array.from({ length: 40 }, (_, n) => n))(
    'covers every place in every pose once, seed %d',
    (seed) => {
      const next = generator(seed);
      const whole = (low: number, high: number): number => low + Math.floor((high - low + 1) * next());
      const half = whole(3, 120);
      const [columns, rows] = [whole(1, 400), whole(1, 400)];
      const pixel_um = 0.25;
      const grid = {
        origin_um: [10, 300] as const,
        ...{ pixel_um, width_px: columns + 2 * half, height_px: rows + 2 * half },
      };
      const left = 10 + half * pixel_um;
      const top = 300 - half * pixel_um;
      const heights = Array.from({ length: whole(1, 12) }, (_, n) => ({ rising: 1 as const, z: n / 5 }));
      const poses = heights.flatMap((h) =>
        [0, 2, 4, 6].filter(() => next() < 0.7).map((pair): Pose => ({ ...h, pair })),
      );
      const size = {
        centresUm: [left, top - (rows - 1) * pixel_um, left + (columns - 1) * pixel_um, top] as const,
        ...{ grid, half, poses, scales: whole(1, 3), layers: whole(2, 15), threads: whole(1, 4) },
      };
      const { side, parts } = planSearch(size);
      expect(side).toBeGreaterThan(2 * half);
      expect(Math.log2(side) % 1).toBe(0);
      const done = new Map<Pose, Uint8Array>(poses.map((pose) => [pose, new Uint8Array(columns * rows)]));
      for (const part of parts) {
        for (const tile of part.tiles) {
          expect(tile.columns[1] - tile.columns[0]).toBeLessThanOrEqual(side - 2 * half);
          expect(tile.rows[1] - tile.rows[0]).toBeLessThanOrEqual(side - 2 * half);
          for (const pose of part.poses)
            for (let r = tile.rows[0]; r < tile.rows[1]; r++)
              for (let c = tile.columns[0]; c < tile.columns[1]; c++)
                done.get(pose)![(r - half) * columns + (c - half)]!++;
        }
        // A thread works through the poses of one height without coming back to it.
        const seen = part.poses.map((pose) => pose.z);
        expect(seen).toEqual([...seen].sort((a, b) => a - b));
      }
      for (const count of done.values()) expect(count.every((n) => n === 1)).toBe(true);
    },
  );

  it('keeps what a thread holds within bounds for a large drawing', () => {
    const grid = { origin_um: [0, 1000] as const, pixel_um: 0.4, width_px: 2500, height_px: 2500 };
    const poses = Array.from({ length: 100 }, (_, n): Pose => ({ rising: 1, z: n, pair: 0 }));
    const layers = 12;
    const { side, parts } = planSearch({
      centresUm: [0, 0, 1000, 1000],
      ...{ grid, half: 48, poses, scales: 2, layers, threads: 2 },
    });
    expect(Math.max(...parts.map(({ tiles }) => tiles.length * layers * side * side * 12))).toBeLessThan(
      160e6,
    );
  });
});

describe('pictures of a drawing at half the pixels', () => {
  it('are means of four that lie where these lay', () => {
    const picture = Float32Array.from({ length: 5 * 4 }, (_, n) => n * n);
    const layer = { name: 'metal1' } as never;
    const grid = { origin_um: [2, 8] as const, pixel_um: 0.5, width_px: 5, height_px: 4 };
    const half = halved({ grid, layers: [{ layer, picture, power: 1 }] });
    expect(half.grid).toEqual({ origin_um: [2.25, 7.75], pixel_um: 1, width_px: 2, height_px: 2 });
    const mean = (...at: number[]): number => at.reduce((sum, n) => sum + n * n, 0) / at.length;
    const expected = [mean(0, 1, 5, 6), mean(2, 3, 7, 8), mean(10, 11, 15, 16), mean(12, 13, 17, 18)];
    expect([...half.layers[0]!.picture]).toEqual(expected);
    expect(half.layers[0]!.power).toBeCloseTo(expected.reduce((s, v) => s + v * v, 0) / 4, 6);
  });
});
