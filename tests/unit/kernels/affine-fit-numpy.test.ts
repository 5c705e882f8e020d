/**
 * The fits against an independent solver: NumPy (Debian's python3-numpy), `numpy.linalg.lstsq` for the affine map,
 * `numpy.linalg.svd` in turns with closed-form scales for the others, iterated until nothing moves.
 */
import { spawnSync } from 'node:child_process';
import { expect, test } from 'vitest';
import { type ControlPoint, fitLandmarks } from '../../../pipeline/kernels/affine-fit.ts';
import { landmarksOf, mapOf, mounted, seeded, VIEWS } from './landmark-scenes.ts';

const PYTHON = '/usr/bin/python3';
const absent = spawnSync(PYTHON, ['-c', 'import numpy']).status !== 0;
const title = (name: string): string => (absent ? `${name} (skipped: no python3-numpy here)` : name);

const AFFINE = `
import json, sys, numpy as np
d = json.load(sys.stdin)
v, q = np.array(d['voxel']), np.array(d['die'])
a, _, _, _ = np.linalg.lstsq(np.c_[v, np.ones(len(v))], q, rcond=None)
r = q - np.c_[v, np.ones(len(v))] @ a
print(json.dumps({'map': a.T.tolist(), 'residuals': np.linalg.norm(r, axis=1).tolist()}))
`;

const SCALED = `
import json, sys, numpy as np
d = json.load(sys.stdin)
v, q, step = np.array(d['voxel']), np.array(d['die']), np.array(d['step'])
hand, groups = d['hand'], d['groups']
p, t = (v - v.mean(0)) * step, q - q.mean(0)
s = np.ones(3)
for _ in range(5000):
    u, _, w = np.linalg.svd(t.T @ (p * s))
    r = u @ np.diag([1, 1, hand * np.linalg.det(u) * np.linalg.det(w)]) @ w
    back = t @ r
    for g in groups:
        s[g] = (back[:, g] * p[:, g]).sum() / (p[:, g] ** 2).sum()
l = r @ np.diag(s * step)
m = np.c_[l, q.mean(0) - l @ v.mean(0)]
res = q - np.c_[v, np.ones(len(v))] @ m.T
print(json.dumps({'map': m.tolist(), 'residuals': np.linalg.norm(res, axis=1).tolist()}))
`;

function solvedByNumpy(script: string, input: object): { map: number[][]; residuals: number[] } {
  const run = spawnSync(PYTHON, ['-c', script], { input: JSON.stringify(input), encoding: 'utf8' });
  if (run.status !== 0) throw new Error(run.stderr);
  return JSON.parse(run.stdout);
}

const listed = (points: readonly ControlPoint[]): { voxel: unknown; die: unknown } => ({
  voxel: points.map((point) => point.voxel),
  die: points.map((point) => point.dieUm),
});

const STEP = [0.04, 0.04, 0.05] as const;
const SHIFT = [120, 80, 5] as const;

test.skipIf(absent)(title('affine map: the same as numpy.linalg.lstsq'), () => {
  for (let seed = 1; seed <= 5; seed++) {
    const random = seeded(seed);
    const sheared = mounted(random).map((row, n) =>
      row.map((value, m) => value + (n === 0 && m === 1 ? 0.05 : 0)),
    );
    const map = mapOf(sheared, [0.042, 0.039, 0.055], VIEWS[seed % 4]!.signs, SHIFT);
    const points = landmarksOf(map, random, { count: 8 + 4 * seed, noiseUm: [0.02, 0.04] });
    const fit = fitLandmarks(points, { voxelUm: STEP });
    expect(fit.model).toBe('affine');
    const numpy = solvedByNumpy(AFFINE, listed(points));
    fit.voxelToDieUm.flat().forEach((value, n) => {
      expect(Math.abs(value - numpy.map.flat()[n]!)).toBeLessThan(1e-9);
    });
    fit.residualsUm.forEach((value, n) => {
      expect(value).toBeCloseTo(numpy.residuals[n]!, 9);
    });
  }
});

test.skipIf(absent).each([
  ['rigid', [1, 1, 1], []],
  ['similarity', [1.04, 1.04, 1.04], [[0, 1, 2]]],
  ['uniaxial', [1.02, 1.02, 1.3], [[0, 1], [2]]],
  ['triaxial', [1.06, 0.95, 1.2], [[0], [1], [2]]],
] as const)(
  title('%s map: the same as alternating SVD and scales in NumPy'),
  (model, factors, groups) => {
    let compared = 0;
    for (let seed = 1; seed <= 4; seed++) {
      const random = seeded(seed);
      const view = VIEWS[seed % 4]!;
      const map = mapOf(
        mounted(random, 0.2),
        factors.map((factor, axis) => factor * STEP[axis]!),
        view.signs,
        SHIFT,
      );
      const points = landmarksOf(map, random, { count: 10, noiseUm: [0.02, 0.02] });
      const fit = fitLandmarks(points, { voxelUm: STEP });
      if (fit.model !== model) continue;
      compared++;
      const hand = view.signs.reduce((product: number, sign) => product * sign, 1);
      const numpy = solvedByNumpy(SCALED, { ...listed(points), step: STEP, hand, groups });
      fit.voxelToDieUm.flat().forEach((value, n) => {
        expect(Math.abs(value - numpy.map.flat()[n]!)).toBeLessThan(1e-6);
      });
      fit.residualsUm.forEach((value, n) => {
        expect(value).toBeCloseTo(numpy.residuals[n]!, 7);
      });
    }
    // The choice of model may go to a larger one by chance, but not often.
    expect(compared).toBeGreaterThanOrEqual(2);
  },
  60_000,
);
