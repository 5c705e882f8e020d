import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { conditionsFrom } from '../../../demo-volume/condition-options.ts';
import { madeHeights } from '../../../demo-volume/fabricate.ts';
import {
  type ConditionOptions,
  type Conditions,
  drawConditions,
  spoiltSlice,
  USUAL,
} from '../../../demo-volume/image/conditions.ts';
import { bentPoint, bentVoxel, evaluate } from '../../../demo-volume/image/distortion.ts';
import { voxelToDie } from '../../../demo-volume/image/scan-frame.ts';
import { imageVolume } from '../../../demo-volume/image/volume.ts';
import { readStack } from '../../../demo-volume/process-stack.ts';
import { randomStream } from '../../../demo-volume/random.ts';
import { degrees } from '../../../shared/units.ts';
import { madeLayer, plainPose, smallPlan, square } from './small-plan.ts';

const SHAPE = [64, 56, 40] as const;
const asked = (change: Partial<ConditionOptions>): ConditionOptions => ({ ...USUAL, ...change });
let folder = '';
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'tgl7-conditions-'));
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('a bent scan', () => {
  it('has the asked amplitudes, and no affine part', () => {
    for (let seed = 1; seed <= 12; seed++) {
      const { bend } = drawConditions(
        asked({ warpVoxels: 4, bowUm: 0.08, jitterVoxels: 0.5 }),
        [101, 81, 400],
        seed,
      );
      if (!bend) throw new Error('nothing bent');
      let [most, bow] = [0, 0];
      const sums = [0, 0, 0];
      for (let i = 0; i <= 100; i++)
        for (let j = 0; j <= 80; j++) {
          const u = evaluate(bend.warpI, [101, 81, 400], i, j);
          most = Math.max(most, Math.hypot(u, evaluate(bend.warpJ, [101, 81, 400], i, j)));
          bow = Math.max(bow, Math.abs(evaluate(bend.bowUm, [101, 81, 400], i, j)));
          [1, i / 50 - 1, j / 40 - 1].forEach((f, n) => {
            sums[n]! += (u * f) / (101 * 81);
          });
        }
      expect(most).toBeGreaterThan(3.8);
      expect(most).toBeLessThan(4.1);
      expect(bow).toBeGreaterThan(0.075);
      expect(bow).toBeLessThan(0.082);
      // The sum over voxel centres is not quite the integral over the field.
      for (const s of sums) expect(Math.abs(s)).toBeLessThan(0.1);
      const flat = bend.shifts.flat();
      const sd = Math.sqrt(flat.reduce((s, v) => s + v * v, 0) / flat.length);
      expect(bend.shifts).toHaveLength(400);
      expect(Math.abs(sd - 0.5)).toBeLessThan(0.06);
    }
  });

  it('shows plugs where the stated formula says, and finds the way back', async () => {
    const pose = plainPose([...SHAPE], {
      ...{ rotationDeg: degrees(11), tiltDeg: degrees(1.5), tiltTowardsDeg: degrees(70) },
    });
    const conditions = drawConditions(
      asked({ warpVoxels: 3, bowUm: 0.1, jitterVoxels: 0.4 }),
      [64, 56, 40],
      3,
    );
    const { bend } = conditions;
    const places = [
      [-0.8, -0.6, 0.05],
      [0.75, 0.55, -0.1],
      [-0.6, 0.7, 0],
    ] as const;
    const layers = places.map(([x, y, z]) => madeLayer(z - 0.1, z + 0.1, [square(x, y, 0.12)]));
    const plan = smallPlan(pose, layers, { conditions });
    const { image } = await imageVolume(plan, { keep: true });
    if (!image || !bend) throw new Error('no image');
    const map = voxelToDie(pose);
    const [nx, ny] = plan.grid;
    for (const place of places) {
      const [i, j, k] = bentVoxel(map, bend, SHAPE, place);
      const back = bentPoint(map, bend, SHAPE, [i, j, k]);
      back.forEach((v, a) => expect(Math.abs(v - place[a]!)).toBeLessThan(1e-6));
      // Centre of what is bright around the place; slices are shifted against each other, so only the slice of k.
      const slice = Math.round(k);
      const sum = [0, 0, 0];
      for (let b = Math.round(j) - 5; b <= Math.round(j) + 5; b++)
        for (let a = Math.round(i) - 5; a <= Math.round(i) + 5; a++) {
          const v = image[((slice + plan.origin[2]) * ny + b + plan.origin[1]) * nx + a + plan.origin[0]]!;
          if (v < 0.5) continue;
          sum[0]! += v * a;
          sum[1]! += v * b;
          sum[2]! += v;
        }
      expect(Math.abs(sum[0]! / sum[2]! - i)).toBeLessThan(0.15);
      expect(Math.abs(sum[1]! / sum[2]! - j)).toBeLessThan(0.15);
      // Along the depth through the plug: middle between the half heights.
      const depth: number[] = [];
      for (let s = 0; s < SHAPE[2]; s++) {
        const [di, dj] = bend.shifts[s]!;
        const [d0, d1] = bend.shifts[slice]!;
        const [a, b] = [Math.round(i + d0 - di), Math.round(j + d1 - dj)];
        depth.push(image[((s + plan.origin[2]) * ny + b + plan.origin[1]) * nx + a + plan.origin[0]]!);
      }
      const peak = Math.max(...depth);
      const weight = depth.map((v) => Math.max(0, v - peak / 2));
      const centre = weight.reduce((t, w, s) => t + w * s, 0) / weight.reduce((t, w) => t + w, 0);
      expect(Math.abs(centre - k)).toBeLessThan(0.35);
    }
  });
});

describe('a spoilt scan', () => {
  it('has the asked share of broken slices, of every kind, and says which', () => {
    const { broken } = drawConditions(asked({ brokenShare: 0.05 }), [10, 10, 400], 5);
    expect(broken).toHaveLength(20);
    expect(new Set(broken.map((b) => b.slice)).size).toBe(20);
    expect(new Set(broken.map((b) => b.kind)).size).toBe(3);
    const deviation = (kind: 'blank' | 'noise' | 'streaks'): number => {
      const values = spoiltSlice(kind, [50, 40], 0.4, 2, 5, 7);
      return Math.sqrt(values.reduce((s, v) => s + v * v, 0) / values.length);
    };
    expect(deviation('blank')).toBe(0);
    expect(Math.abs(deviation('noise') - 0.4)).toBeLessThan(0.03);
    expect(deviation('streaks')).toBeGreaterThan(1);
  });

  it('is written upside down in grey, with its padding and its broken slices', async () => {
    const conditions: Conditions = {
      outside: 'nan',
      bend: null,
      broken: [{ slice: 3, kind: 'blank' }],
    };
    const plan = smallPlan(plainPose([30, 30, 12]), [madeLayer(-0.1, 0.1, [square(0, 0, 0.2)])], {
      ...{ conditions, circular: true, folder },
      grey: { zero: 39535, perUnit: -5000, drift: { amplitude: 0, gain: 0, direction: 0, phase: 0 } },
    });
    await imageVolume(plan);
    const pixels = (slice: number): Float32Array => {
      const bytes = readFileSync(join(folder, `fine_${String(slice + 1).padStart(4, '0')}.tif`));
      const end = bytes.byteOffset + bytes.length;
      return new Float32Array(bytes.buffer.slice(end - 30 * 30 * 4, end));
    };
    const middle = pixels(6);
    expect(middle[0]).toBeNaN();
    expect(middle[15 * 30 + 15]).toBeLessThan(39535 - 3000);
    const inside = [...pixels(3)].filter((v) => !Number.isNaN(v));
    expect(inside.length).toBeGreaterThan(600);
    expect(new Set(inside)).toEqual(new Set([39535]));
  });
});

describe('thicknesses', () => {
  it('scatter as asked, stay within two deviations, and stack up', () => {
    const stack = readStack(new URL('../../../demo-volume/process.yaml', import.meta.url).pathname).layers;
    const shares: number[] = [];
    for (let seed = 0; seed < 60; seed++) {
      const height = madeHeights(stack, randomStream(seed, 'thickness'), 0.05);
      let below = 0;
      for (const layer of stack) {
        const [bottom, top] = [height(layer.bottomUm), height(layer.bottomUm + layer.thicknessUm)];
        expect(bottom).toBeCloseTo(below === 0 ? bottom : below, 9);
        shares.push((top - bottom) / layer.thicknessUm - 1);
        below = top;
      }
    }
    expect(Math.max(...shares.map(Math.abs))).toBeLessThanOrEqual(0.1 + 1e-9);
    const sd = Math.sqrt(shares.reduce((s, v) => s + v * v, 0) / shares.length);
    // A normal law cut at two deviations has 0.88 to 0.96 of its deviation, as its tails are cut off or piled up.
    expect(sd).toBeGreaterThan(0.043);
    expect(sd).toBeLessThan(0.052);
  });
});

describe('the options', () => {
  it('are read, and refused where they make no sense', () => {
    expect(conditionsFrom({})).toEqual(USUAL);
    expect(conditionsFrom({ bright: 'light', 'broken-share': '0.05', outside: 'nan' })).toMatchObject({
      ...{ bright: 'light', brokenShare: 0.05, outside: 'nan' },
    });
    expect(() => conditionsFrom({ 'broken-share': '0.9' })).toThrow(/--broken-share/);
    expect(() => conditionsFrom({ outside: 'black' })).toThrow(/zero or constant or nan/);
    expect(() => conditionsFrom({ drift: 'x' })).toThrow(/--drift/);
  });
});
