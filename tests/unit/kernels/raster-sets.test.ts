/** Components and distances, against plain oracles and SciPy. */
import { describe, expect, it } from 'vitest';
import { labelComponents } from '../../../pipeline/kernels/components.ts';
import { squaredDistances } from '../../../pipeline/kernels/distance-transform.ts';
import { askPython, scipyNote, scipyPython } from '../../fixtures/outside-python.ts';
import { generator } from '../../fixtures/random.ts';
import { floodFill, squaredDistancesPlain } from '../../oracles/flood-fill.ts';

const scenes = Array.from({ length: 24 }, (_, seed) => {
  const random = generator(seed + 1);
  const width = 1 + Math.floor(random() * 23);
  const height = 1 + Math.floor(random() * 23);
  const share = 0.1 + 0.8 * random();
  return { width, height, mask: Array.from({ length: width * height }, () => (random() < share ? 1 : 0)) };
});

describe('components', () => {
  it.each([4, 8] as const)('agree with a flood fill over %i neighbours', (neighbours) => {
    for (const { mask, width, height } of scenes) {
      const { labels, count } = labelComponents(mask, width, height, neighbours);
      const plain = floodFill(mask, width, height, neighbours);
      expect([...labels]).toEqual(plain);
      expect(count).toBe(Math.max(0, ...plain));
    }
  });

  it('join the arms of a spiral and a comb that meet late', () => {
    const rows = ['1010101', '1010101', '1111111', '0000000', '1000001', '1111111'];
    const mask = rows.join('').split('').map(Number);
    expect(labelComponents(mask, 7, 6, 4).count).toBe(2);
  });

  it.skipIf(!scipyPython)(`agree with scipy.ndimage.label${scipyNote}`, () => {
    const script = `
import json, sys, numpy as np
from scipy import ndimage
out = []
for s in json.load(sys.stdin):
    m = np.array(s["mask"]).reshape(s["height"], s["width"])
    out.append([ndimage.label(m)[1], ndimage.label(m, np.ones((3, 3)))[1]])
print(json.dumps(out))`;
    const theirs = askPython<number[][]>(script, scenes);
    scenes.forEach(({ mask, width, height }, n) => {
      expect(labelComponents(mask, width, height, 4).count).toBe(theirs[n]![0]);
      expect(labelComponents(mask, width, height, 8).count).toBe(theirs[n]![1]);
    });
  });
});

describe('distances', () => {
  it('agree with looking at every pixel', () => {
    for (const { mask, width, height } of scenes) {
      if (!mask.includes(1)) continue;
      expect([...squaredDistances(mask, width, height)]).toEqual(squaredDistancesPlain(mask, width, height));
    }
  });

  it('are far where there is nothing to measure from', () => {
    expect(Math.min(...squaredDistances(new Uint8Array(12), 4, 3))).toBeGreaterThanOrEqual(1e12);
  });

  it.skipIf(!scipyPython)(`agree with scipy.ndimage.distance_transform_edt${scipyNote}`, () => {
    const script = `
import json, sys, numpy as np
from scipy import ndimage
out = []
for s in json.load(sys.stdin):
    m = np.array(s["mask"]).reshape(s["height"], s["width"])
    out.append((ndimage.distance_transform_edt(m == 0) ** 2).ravel().round().tolist())
print(json.dumps(out))`;
    const used = scenes.filter((s) => s.mask.includes(1));
    askPython<number[][]>(script, used).forEach((theirs, n) => {
      const { mask, width, height } = used[n]!;
      expect([...squaredDistances(mask, width, height)]).toEqual(theirs);
    });
  });
});
