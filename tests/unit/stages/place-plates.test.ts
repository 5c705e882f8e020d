import { describe, expect, it } from 'vitest';
import { labelPlates, normal } from '../../../pipeline/stages/place/label-plates.ts';
import { planPlates } from '../../../pipeline/stages/place/plan-plates.ts';
import { portraitRanges } from '../../../pipeline/stages/plate/portrait-ranges.ts';
import type { Affine3 } from '../../../shared/affine.ts';
import type { Placement } from '../../../shared/artefacts/placement.ts';
import type { Process } from '../../../shared/artefacts/process.ts';
import { gridBoxUm } from '../../../shared/frames.ts';

describe('the raster of the plates', () => {
  it('covers an upright field with one pixel per voxel', () => {
    // 100 x 80 x 10 voxels of 10 nm, mirrored in j, slices downwards. Worked by hand.
    const map: Affine3 = [
      [0.01, 0, 0, 100],
      [0, -0.01, 0, 80],
      [0, 0, -0.02, 6],
    ];
    const plan = planPlates(map, [0, 0, 100, 80], 10);
    expect(plan.grid).toMatchObject({ pixel_um: 0.01, width_px: 100, height_px: 80 });
    expect(plan.grid.origin_um[0]).toBeCloseTo(100, 9);
    expect(plan.grid.origin_um[1]).toBeCloseTo(80, 9);
    expect(plan.zUm.map((z) => Number(z.toFixed(6)))).toEqual([
      5.82, 5.84, 5.86, 5.88, 5.9, 5.92, 5.94, 5.96, 5.98, 6,
    ]);
    expect(plan.slice).toEqual([9, 8, 7, 6, 5, 4, 3, 2, 1, 0]);
  });

  it('boxes a turned field: a square turned by 45 degrees needs sqrt 2 of its side', () => {
    const c = Math.SQRT1_2;
    const map: Affine3 = [
      [c, c, 0, 0],
      [c, -c, 0, 0],
      [0, 0, 1, 0],
    ];
    const plan = planPlates(map, [0, 0, 100, 100], 5);
    expect(plan.grid.width_px).toBe(142);
    expect(plan.grid.height_px).toBe(142);
    const box = gridBoxUm(plan.grid);
    for (const [x, y] of plan.footprintUm) {
      expect(x).toBeGreaterThanOrEqual(box[0] - 0.02);
      expect(x).toBeLessThanOrEqual(box[2] + 0.02);
      expect(y).toBeGreaterThanOrEqual(box[1] - 0.02);
      expect(y).toBeLessThanOrEqual(box[3] + 0.02);
    }
  });

  it('stays within the field of view', () => {
    const map: Affine3 = [
      [1, 0, 0, 0],
      [0, -1, 0, 0],
      [0, 0, 1, 0],
    ];
    const plan = planPlates(map, [10, 20, 30, 50], 2);
    expect(plan.grid).toMatchObject({ width_px: 20, height_px: 30, origin_um: [10, -20] });
  });
});

describe('the normal distribution', () => {
  // NIST/SEMATECH e-Handbook, table of the cumulative standard normal distribution (1.3.6.7.1).
  it.each([
    [0, 0.5],
    [0.5, 0.69146],
    [1, 0.84134],
    [1.96, 0.975],
    [2.5, 0.99379],
    [-1, 0.15866],
  ])('at %f is %f', (x, p) => {
    expect(normal(x)).toBeCloseTo(p, 5);
  });
});

const process: Process = {
  name: 'Heron',
  layers: [
    { name: 'poly', role: 'conductor', bottom_um: 0.3, thickness_um: 0.2, drawn: [] },
    { name: 'contact', role: 'via', bottom_um: 0.3, thickness_um: 0.6, drawn: [] },
    { name: 'metal1', role: 'conductor', bottom_um: 0.9, thickness_um: 0.4, drawn: [] },
    { name: 'metal2', role: 'conductor', bottom_um: 2.0, thickness_um: 0.4, drawn: [] },
    { name: 'metal3', role: 'conductor', bottom_um: 3.0, thickness_um: 0.4, drawn: [] },
  ],
};

const placement = (source: Placement['source']): Placement => ({
  version: 1,
  voxel_to_die_um: [
    [0.02, 0, 0, 0],
    [0, -0.02, 0, 0],
    [0, 0, 0.02, 0.1],
  ],
  warp: null,
  source,
  verdict: source === 'none' ? 'unplaced' : 'locked',
  score: null,
  runner_up: null,
  residual_um: null,
  uncertainty_um: { x: 0.01, y: 0.01, z: 0.02 },
  seen_from: 'front',
  order: 'bottom-first',
  method: '',
  doubts: [],
});

describe('labels of plates', () => {
  const plan = planPlates(placement('landmarks').voxel_to_die_um as Affine3, [0, 0, 20, 20], 105);
  const layers = labelPlates(process, placement('landmarks'), plan);
  const at = (z: number) =>
    layers.plates.reduce((a, b) => (Math.abs(b.z_um - z) < Math.abs(a.z_um - z) ? b : a));

  it('name the layer, preferring the conductor where a contact stands beside it', () => {
    expect(at(0.4).layer).toBe('poly');
    expect(at(0.7).layer).toBe('contact');
    expect(at(1.1).layer).toBe('metal1');
  });

  it('say between which layers a plate lies, and how sure that is', () => {
    expect(at(1.7)).toMatchObject({ layer: null, between: ['metal1', 'metal2'] });
    expect(at(1.7).confidence).toBeGreaterThan(0.99);
    expect(at(1.1).confidence).toBeGreaterThan(0.99);
    expect(at(1.3).confidence).toBeLessThan(0.75);
  });

  it('say what the scan cuts and what it does not reach', () => {
    expect(layers.layers.map((l) => l.seen)).toEqual(['whole', 'whole', 'whole', 'cut', 'outside']);
    expect(layers.basis).toBe('nominal');
  });

  it('are left out without a placement', () => {
    const bare = labelPlates(process, placement('none'), plan);
    expect(bare.layers).toEqual([]);
    expect(bare.plates.every((p) => p.layer === null && p.confidence === 0)).toBe(true);
  });

  it('choose the plates of a portrait well inside the layer', () => {
    const metal1 = portraitRanges(layers).find((r) => r.name === 'metal1')!;
    const z = (n: number) => layers.plates[n]!.z_um;
    expect(z(metal1.first)).toBeGreaterThan(0.9);
    expect(z(metal1.last)).toBeLessThan(1.3);
    expect(z(metal1.last) - z(metal1.first)).toBeGreaterThan(0.3);
    expect(portraitRanges(layers).map((r) => r.name)).toEqual(['poly', 'contact', 'metal1', 'metal2']);
  });
});
