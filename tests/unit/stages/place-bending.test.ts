/** Bendings of the field, from patches made up here. */
import { describe, expect, it } from 'vitest';
import { findBending } from '../../../pipeline/stages/place/automatic/bending.ts';
import type { Cell } from '../../../pipeline/stages/place/automatic/patches.ts';
import { displacementAt } from '../../../shared/warp.ts';
import { generator } from '../../fixtures/random.ts';
import { rmsWithoutPlane } from '../../fixtures/without-plane.ts';

const field = { x: 50, y: 30, half: 6 };

/** Patches on a 7 x 7 raster at two heights; every tenth is an outlier. */
function cells(
  shift: (x: number, y: number) => readonly [number, number],
  noiseUm: number,
  seed: number,
): Cell[] {
  const next = generator(seed);
  const noise = (): number => noiseUm * (next() + next() + next() - 1.5) * 2;
  return Array.from({ length: 98 }, (_, n): Cell => {
    const [x, y] = [field.x + ((n % 7) - 3) * 1.8, field.y + ((Math.floor(n / 7) % 7) - 3) * 1.8];
    const [dx, dy] = n % 10 === 3 ? [0.4 * next(), -0.4 * next()] : shift(x, y);
    return {
      ...{ patch: n % 49, xUm: x, yUm: y, zUm: n < 49 ? 1 : 2.5 },
      ...{ shiftUm: [dx! + noise(), dy! + noise()], sureness: [1 + next(), 0.2, 1 + next()] },
      ...{ depthUm: null, depthSureness: 0, here: 1, drawn: 1 },
    };
  });
}

describe('bending', () => {
  it.each([1, 2, 3])('is found where the field is bent, seed %d', (seed) => {
    const bent = (x: number, y: number): readonly [number, number] => {
      const [u, v] = [(x - field.x) / field.half, (y - field.y) / field.half];
      return [0.06 * u * u - 0.04 * u * v, -0.05 * v * v * u + 0.02 * u * u];
    };
    const found = findBending(cells(bent, 0.006, seed), field, 1.8);
    expect(found).not.toBeNull();
    // The picture lies off by the bending, and the warp takes it back: 0.04 um of it to less than a sixth.
    expect(
      rmsWithoutPlane((u, v) => bent(field.x + u * field.half, field.y + v * field.half), 0.9),
    ).toBeGreaterThan(0.015);
    const left = rmsWithoutPlane((u, v) => {
      const [x, y] = [field.x + u * field.half, field.y + v * field.half];
      const [[a, b], [p, q]] = [displacementAt(found!.warp, x, y), bent(x, y)];
      return [a + p, b + q];
    }, 0.9);
    expect(left).toBeLessThan(0.005);
  });

  it.each([4, 5, 6, 7])('is not found in noise, nor where an affine map does, seed %d', (seed) => {
    const straight = (x: number, y: number): readonly [number, number] => [
      0.02 + 0.004 * (x - 50),
      -0.01 + 0.003 * (y - 30) + 0.002 * (x - 50),
    ];
    expect(findBending(cells(straight, 0.02, seed), field, 1.8)).toBeNull();
  });

  it('is not asked of a few patches', () => {
    expect(findBending(cells(() => [0, 0], 0.01, 8).slice(0, 20), field, 1.8)).toBeNull();
  });
});
