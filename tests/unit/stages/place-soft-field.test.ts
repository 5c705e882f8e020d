/** Smooth fields from the shifts of patches: against fields in closed form that are no splines. */
import { describe, expect, it } from 'vitest';
import { type Pull, softField } from '../../../pipeline/stages/place/automatic/soft-field.ts';
import { generator } from '../../fixtures/random.ts';
import { type Displacement, rmsWithoutPlane } from '../../fixtures/without-plane.ts';

/** Patches on a 12 x 12 raster inside a square turned by `turn`, in four layers with offsets of their own. */
function pulls(field: Displacement, noise: number, seed: number, turn = 0): Pull[] {
  const next = generator(seed);
  const normal = (): number => Math.sqrt(-2 * Math.log(1 - next())) * Math.cos(2 * Math.PI * next());
  const offsets = Array.from({ length: 4 }, () => [0.2 * normal(), 0.2 * normal()] as const);
  const side = 1 / (Math.abs(Math.cos(turn)) + Math.abs(Math.sin(turn)));
  return Array.from({ length: 4 * 144 }, (_, n): Pull => {
    const group = Math.floor(n / 144);
    const [p, q] = [(((n % 12) - 5.5) / 6) * side, (((Math.floor(n / 12) % 12) - 5.5) / 6) * side];
    const [u, v] = [p * Math.cos(turn) - q * Math.sin(turn), p * Math.sin(turn) + q * Math.cos(turn)];
    const outlier = n % 11 === 5;
    const [dx, dy] = outlier ? [6 * next(), -6 * next()] : field(u, v);
    // Edges one way speak for that way only.
    const weight = [[1, 0.02] as const, [0.02, 1] as const, [1, 1] as const][n % 3]!;
    const shift = [dx!, dy!].map(
      (value, axis) => value + offsets[group]![axis]! + (noise / Math.sqrt(weight[axis]!)) * normal(),
    );
    return { u, v, group, weight, shift: shift as [number, number] };
  });
}

const wave: Displacement = (u, v) => [
  2 * Math.cos(1.9 * u + 1.2 * v + 0.4),
  1.5 * Math.sin(2.2 * u * v - 0.3) + 0.5 * Math.cos(2.8 * v),
];
const dent: Displacement = (u, v) => {
  const depth = 1.5 * Math.exp(-3 * ((u - 0.3) ** 2 + (v + 0.2) ** 2));
  return [depth * (u - 0.3) * 2, depth];
};

describe('soft field', () => {
  it.each([
    ['waves', wave, 1, 0],
    ['waves', wave, 2, Math.PI / 5],
    ['a dent', dent, 3, 0],
    ['a dent', dent, 4, Math.PI / 4],
  ] as const)('follows %s that are no splines, seed %#', (_, field, seed, turn) => {
    const found = softField(pulls(field, 0.3, seed, turn))!;
    const reach = turn === 0 ? 0.9 : 0.6;
    const before = rmsWithoutPlane(field, reach);
    expect(before).toBeGreaterThan(0.25);
    const after = rmsWithoutPlane((u, v) => {
      const [[a, b], [p, q]] = [field(u, v), found(u, v)];
      return [a - p, b - q];
    }, reach);
    expect(after).toBeLessThan(0.25 * before);
  });

  it.each([5, 6, 7, 8])('makes next to nothing of noise, offsets and a plane, seed %d', (seed) => {
    const plane: Displacement = (u, v) => [0.4 + 0.8 * u - 0.2 * v, -0.1 + 0.5 * v];
    const found = softField(pulls(plane, 0.3, seed))!;
    // Of 576 pulls with 0.3 each; a mean of all of them would be sure to 0.02.
    expect(rmsWithoutPlane(found, 0.9)).toBeLessThan(0.08);
  });

  it('goes on straight where no patch lies', () => {
    const some = pulls(wave, 0.1, 9, Math.PI / 4);
    const found = softField(some)!;
    // A power of the third degree would be off by several here.
    for (const [u, v] of [
      [0.95, 0.95],
      [-0.95, 0.95],
      [0.95, -0.95],
      [-0.95, -0.95],
    ] as const)
      expect(Math.hypot(...found(u, v))).toBeLessThan(6);
  });

  it('asks for enough patches', () => {
    expect(softField(pulls(wave, 0.1, 10).slice(0, 20))).toBeNull();
  });
});
