/**
 * Calibration: how often the true position lies inside one stated standard uncertainty. With f degrees of freedom that
 * share is the central part of Student's t between -1 and 1: 0.683 for many, 0.657 for 9, 0.644 for 6.
 *
 * @source JCGM 100:2008 (GUM), annex G: an estimate over its own standard uncertainty follows Student's t.
 */
import { expect, test } from 'vitest';
import { fitLandmarks } from '../../../pipeline/kernels/affine-fit.ts';
import { apply3, type Vector3 } from '../../../shared/affine.ts';
import { type Field, landmarksOf, mapOf, mounted, seeded, VIEWS } from './landmark-scenes.ts';

const SEEDS = 150;
/** Three standard deviations of a share near 0.68 among so many trials (binomial). */
const threeSigma = (trials: number): number => 3 * Math.sqrt((0.68 * 0.32) / trials);
const VOXEL_UM: Vector3 = [0.04, 0.04, 0.04];
const CENTRE: Vector3 = [500, 500, 75];

/** Probability that Student's t lies between -1 and 1, by Simpson's rule on its density. */
function insideOne(freedom: number): number {
  const density = (t: number): number => (1 + (t * t) / freedom) ** (-(freedom + 1) / 2);
  const integral = (to: number): number => {
    const steps = 20_000;
    let sum = density(0) + density(to);
    for (let n = 1; n < steps; n++) sum += (n % 2 === 0 ? 2 : 4) * density((n * to) / steps);
    return (sum * to) / (3 * steps);
  };
  return integral(1) / integral(400);
}

test('the shares used here: table values of Student t', () => {
  // Any table of the t distribution: P(|t| < 1) = 0.5 for 1 degree of freedom (exactly), 0.6440 for 6, 0.6827 at the limit.
  expect(insideOne(1)).toBeCloseTo(0.5, 2);
  expect(insideOne(6)).toBeCloseTo(0.6441, 3);
  expect(insideOne(1e5)).toBeCloseTo(0.6827, 3);
});

test.each([
  { name: '12 landmarks, equal noise', field: { count: 12, noiseUm: [0.02, 0.02] }, factors: [1, 1, 1] },
  {
    name: '20 landmarks, heights five times as rough',
    field: { count: 20, noiseUm: [0.02, 0.1] },
    factors: [1, 1, 1],
  },
  {
    name: '20 landmarks, positions three times as rough',
    field: { count: 20, noiseUm: [0.06, 0.02] },
    factors: [1, 1, 1],
  },
  {
    name: '10 landmarks, a scale error',
    field: { count: 10, noiseUm: [0.02, 0.02] },
    factors: [1.03, 1.03, 1.03],
  },
  { name: '10 landmarks, a depth scale', field: { count: 10, noiseUm: [0.02, 0.02] }, factors: [1, 1, 1.15] },
  { name: '5 landmarks', field: { count: 5, noiseUm: [0.02, 0.02] }, factors: [1, 1, 1] },
  { name: '4 landmarks', field: { count: 4, noiseUm: [0.02, 0.02] }, factors: [1, 1, 1] },
] as { name: string; field: Field; factors: number[] }[])(
  '$name: one sigma holds as often as it should',
  ({ field, factors }) => {
    const inside = { x: 0, y: 0, z: 0 };
    let scales = 0;
    const wanted = { x: 0, y: 0, z: 0 };
    for (let seed = 1; seed <= SEEDS; seed++) {
      const random = seeded(seed);
      const view = VIEWS[seed % 4]!;
      const map = mapOf(
        mounted(random),
        factors.map((factor) => 0.04 * factor),
        view.signs,
        [120, 80, 5],
      );
      const fit = fitLandmarks(landmarksOf(map, random, field), {
        voxelUm: VOXEL_UM,
        order: view.order,
        seenFrom: view.seenFrom,
        centre: CENTRE,
      });
      const [found, truth] = [apply3(fit.voxelToDieUm, CENTRE), apply3(map, CENTRE)];
      for (const [axis, name] of (['x', 'y', 'z'] as const).entries()) {
        if (Math.abs(found[axis]! - truth[axis]!) < fit.uncertaintyUm[name]) inside[name]++;
        wanted[name] += insideOneCached(fit.degreesOfFreedom[name === 'z' ? 'depth' : 'lateral']);
      }
      if (Math.abs(fit.voxelToDieUm[2][2] / map[2][2] - 1) < fit.depthScaleSd) scales++;
    }
    // The model is chosen from the same landmarks, which costs up to 0.03 more than chance.
    for (const name of ['x', 'y', 'z'] as const) {
      expect(inside[name] / SEEDS).toBeGreaterThan(wanted[name] / SEEDS - threeSigma(SEEDS) - 0.03);
      expect(inside[name] / SEEDS).toBeLessThan(wanted[name] / SEEDS + threeSigma(SEEDS));
    }
    expect(scales / SEEDS).toBeGreaterThan(wanted.z / SEEDS - threeSigma(SEEDS) - 0.03);
    // A scale that is as stated is stated with what the landmarks alone would know, which is more than enough.
    if (factors[2] !== factors[0]) expect(scales / SEEDS).toBeLessThan(wanted.z / SEEDS + threeSigma(SEEDS));
    const all = (counts: typeof inside): number => (counts.x + counts.y + counts.z) / (3 * SEEDS);
    expect(all(inside)).toBeGreaterThan(all(wanted) - threeSigma(3 * SEEDS) - 0.03);
    expect(all(inside)).toBeLessThan(all(wanted) + threeSigma(3 * SEEDS));
  },
  60_000,
);

const known = new Map<number, number>();
function insideOneCached(freedom: number): number {
  const key = Math.round(freedom);
  const value = known.get(key) ?? insideOne(key);
  known.set(key, value);
  return value;
}
