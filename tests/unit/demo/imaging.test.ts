import { describe, expect, it } from 'vitest';
import { mapPoint } from '../../../demo-volume/image/scan-frame.ts';
import { imageVolume } from '../../../demo-volume/image/volume.ts';
import { randomStream } from '../../../demo-volume/random.ts';
import { degrees } from '../../../shared/units.ts';
import { madeLayer, plainPose, smallPlan, square } from './small-plan.ts';

type Grid = readonly [number, number, number];

/** One value of the three-dimensional transform, by its definition; magnitude. */
function spectrumAt(image: Float32Array, [nx, ny, nz]: Grid, kx: number, ky: number, kz: number): number {
  let [re, im] = [0, 0];
  for (let z = 0; z < nz; z++)
    for (let y = 0; y < ny; y++) {
      const row = (z * ny + y) * nx;
      const phase = -2 * Math.PI * ((kz * z) / nz + (ky * y) / ny);
      for (let x = 0; x < nx; x++) {
        const a = phase - (2 * Math.PI * kx * x) / nx;
        re += image[row + x]! * Math.cos(a);
        im += image[row + x]! * Math.sin(a);
      }
    }
  return Math.hypot(re, im);
}

async function kept(plan: ReturnType<typeof smallPlan>, threads = 2): Promise<Float32Array> {
  const { image } = await imageVolume(plan, { threads, keep: true });
  if (!image) throw new Error('no image was kept');
  return image;
}

const wires = (): number[][] => [
  ...[-0.4, 0, 0.4].map((x) => [x - 0.1, -1, x + 0.1, -1, x + 0.1, 1, x - 0.1, 1]),
  square(0.3, 0.3, 0.2),
];

describe('the missing cone', () => {
  it('is empty in the noise-free and in the noisy volume, and the rest is not', async () => {
    const pose = plainPose([40, 32, 24]);
    for (const noiseSd of [0, 0.45]) {
      const plan = smallPlan(pose, [madeLayer(-0.2, 0.2, wires())], { noiseSd });
      const image = await kept(plan);
      const [nx, ny, nz] = plan.grid;
      const random = randomStream(2, 'frequencies');
      let strongest = 0;
      const inside: number[] = [];
      for (let n = 0; n < 60; n++) {
        const k = [random.below(9) - 4, random.below(9) - 4, random.below(21) - 10] as const;
        const radial = Math.hypot(k[0] / nx, k[1] / ny);
        const angle = (Math.atan2(radial, Math.abs(k[2]) / nz) * 180) / Math.PI;
        if (angle > 29 && angle < 31.5) continue;
        const value = spectrumAt(image, plan.grid, ...k);
        if (angle <= 29) inside.push(value);
        else strongest = Math.max(strongest, value);
      }
      expect(inside.length).toBeGreaterThan(10);
      expect(strongest).toBeGreaterThan(10);
      // Single precision in the shared spectrum leaves some 1e-7 of the strongest term.
      expect(Math.max(...inside) / strongest).toBeLessThan(1e-5);
    }
  });

  it('takes the mean of every slice away', async () => {
    const plan = smallPlan(plainPose([40, 32, 24]), [madeLayer(-0.2, 0.2, wires())]);
    const image = await kept(plan);
    const size = plan.grid[0] * plan.grid[1];
    for (let z = 0; z < plan.grid[2]; z++) {
      let sum = 0;
      for (let i = 0; i < size; i++) sum += image[z * size + i]!;
      expect(Math.abs(sum / size)).toBeLessThan(1e-5);
    }
  });

  it('lets a wide plate fade inside while its edge stays and a thin wire stays bright', async () => {
    const pose = plainPose([300, 64, 24]);
    const plate = [-5, -9, 5, -9, 5, 9, -5, 9];
    const narrow = [5.3, -9, 5.5, -9, 5.5, 9, 5.3, 9];
    const plan = smallPlan(pose, [madeLayer(-0.12, 0.12, [plate, narrow])]);
    const image = await kept(plan);
    const [nx, ny] = plan.grid;
    const value = (x: number): number => {
      const i = Math.round(x / 0.04 + 149.5) + plan.origin[0];
      const j = 32 + plan.origin[1];
      return image[((12 + plan.origin[2]) * ny + j) * nx + i]!;
    };
    expect(Math.abs(value(0))).toBeLessThan(0.25 * 1.8);
    expect(value(4.9) - value(5.15)).toBeGreaterThan(0.5 * 1.8);
    expect(value(5.4) - value(5.7)).toBeGreaterThan(0.5 * 1.8);
  });
});

describe('the imaged volume', () => {
  it('shows a plug where the true map says, turned, tilted, scaled and mirrored', async () => {
    for (const mirrored of [false, true]) {
      const pose = plainPose([56, 48, 40], {
        ...{ rotationDeg: degrees(17), tiltDeg: degrees(2), tiltTowardsDeg: degrees(40), mirrored },
        ...{ voxelUm: [0.0405, 0.0405, 0.0392], centreUm: [20, 10, 3] },
        order: mirrored ? 'bottom-first' : 'top-first',
      });
      const at = [20.35, 9.7, 3.1] as const;
      const plan = smallPlan(pose, [madeLayer(at[2] - 0.1, at[2] + 0.1, [square(at[0], at[1], 0.12)])]);
      const image = await kept(plan);
      const [nx, ny] = plan.grid;
      // Mean position of what is above half of the peak.
      let peak = 0;
      for (const v of image) peak = Math.max(peak, v);
      const sum = [0, 0, 0, 0];
      image.forEach((v, n) => {
        if (v < peak / 2) return;
        const place = [n % nx, Math.floor(n / nx) % ny, Math.floor(n / (nx * ny))];
        place.forEach((p, a) => {
          sum[a]! += v * (p - plan.origin[a]!);
        });
        sum[3]! += v;
      });
      const found = mapPoint(plan.map, sum[0]! / sum[3]!, sum[1]! / sum[3]!, sum[2]! / sum[3]!);
      found.forEach((v, a) => expect(Math.abs(v - at[a]!)).toBeLessThan(0.006));
    }
  });

  it('has noise of the stated standard deviation', async () => {
    const plan = smallPlan(plainPose([60, 50, 40]), [madeLayer(5, 5.2, [])], { noiseSd: 0.45 });
    const image = await kept(plan);
    const mean = image.reduce((s, v) => s + v, 0) / image.length;
    const variance = image.reduce((s, v) => s + (v - mean) ** 2, 0) / image.length;
    expect(mean).toBeCloseTo(0, 4);
    expect(Math.sqrt(variance)).toBeGreaterThan(0.45 * 0.97);
    expect(Math.sqrt(variance)).toBeLessThan(0.45 * 1.03);
  });

  it('does not depend on the number of threads', async () => {
    const plan = smallPlan(plainPose([24, 20, 16]), [madeLayer(-0.1, 0.1, wires())], { noiseSd: 0.3 });
    const [one, three] = [await kept(plan, 1), await kept(plan, 3)];
    expect(Buffer.from(one.buffer).equals(Buffer.from(three.buffer))).toBe(true);
  });
});
