/** The depth of a placement that follows measured heights, against a stack made up here. */
import { describe, expect, it } from 'vitest';
import { thicknessOf } from '../../../pipeline/stages/measure/thickness.ts';
import { withMeasuredHeights } from '../../../pipeline/stages/place/find-place.ts';
import { redepth } from '../../../pipeline/stages/place/heights/depth-scale.ts';
import { ladderOf } from '../../../pipeline/stages/place/heights/levels.ts';
import type { MeasuredHeights } from '../../../pipeline/stages/place/heights/measure-heights.ts';
import { apply3 } from '../../../shared/affine.ts';
import type { Placement } from '../../../shared/artefacts/placement.ts';
import type { ProcessLayer } from '../../../shared/artefacts/process.ts';
import { generator } from '../../fixtures/random.ts';

const layers = [0.4, 0.9, 1.5, 2.0, 2.6, 3.1].map(
  (bottom_um, n): ProcessLayer => ({
    ...{ name: `level${n}`, role: n % 2 ? 'via' : 'conductor', bottom_um },
    ...{ thickness_um: [0.5, 0.6, 0.5, 0.6, 0.5, 0.6][n]!, drawn: [`${n}/0`] },
  }),
);
const ladder = ladderOf(layers);
const COUNT = 90;
const SLICE_UM = 0.04;
/** A map whose slices are `share` of the stated distance apart. */
const mapOf = (share: number) =>
  [
    [0.04, 0, 0, 0],
    [0, -0.04, 0, 4],
    [0, 0, SLICE_UM * share, 0.1],
  ] as const;
const planOf = (share: number) => ({
  grid: { origin_um: [0, 4] as const, pixel_um: 0.04, width_px: 100, height_px: 100 },
  stepUm: SLICE_UM * share,
  zUm: Array.from({ length: COUNT }, (_, n) => 0.1 + n * SLICE_UM * share),
  slice: Array.from({ length: COUNT }, (_, n) => n),
  footprintUm: [],
});
const shown = layers.map((_, n) => n);

describe('depth by measured heights', () => {
  it('takes up a scale that all layers and the stated voxel agree on', () => {
    // The map is 3 % too long; in it the layers lie 3 % apart too far.
    const heightsUm = ladder.nominalUm.map((z) => 0.1 + 1.03 * (z - 0.1));
    const found = redepth({
      ...{ voxelToDieUm: mapOf(1.03), plan: planOf(1.03), sliceUm: SLICE_UM, ladder, heightsUm, shown },
      sdUm: heightsUm.map(() => 0.003),
    })!;
    expect(found.voxelToDieUm[2][2] / SLICE_UM).toBeCloseTo(1, 2);
    for (const [n, z] of heightsUm.entries()) expect(found.height(z)).toBeCloseTo(ladder.nominalUm[n]!, 1);
    // Plates stay where their slices are.
    const middle = found.plan.slice[40]!;
    expect(apply3(found.voxelToDieUm, [0, 0, middle])[2]).toBeCloseTo(found.plan.zUm[40]!, 9);
    expect(found.plan.stepUm).toBeCloseTo(found.voxelToDieUm[2][2], 9);
  });

  it('states how uncertain zero and scale leave each height', () => {
    // Drawn heights of films 5 % off one by one, in scans whose stated voxel is 3 % off: the limits that the fit assumes.
    const random = generator(41);
    const normal = (): number => Array.from({ length: 12 }, random).reduce((a, b) => a + b, -6);
    const levels = [...new Set([0, ...ladder.nominalUm])].sort((a, b) => a - b);
    const inside = { low: 0, high: 0, middle: 0, scale: 0 };
    let thicknesses = 0;
    const runs = 300;
    for (let run = 0; run < runs; run++) {
      const made = new Map([[0, 0]]);
      for (let n = 1; n < levels.length; n++)
        made.set(
          levels[n]!,
          made.get(levels[n - 1]!)! + (levels[n]! - levels[n - 1]!) * (1 + 0.05 * normal()),
        );
      const share = 1 + 0.03 * normal();
      const found = redepth({
        ...{ voxelToDieUm: mapOf(1), plan: planOf(1), sliceUm: SLICE_UM, ladder, shown },
        // A voxel that is too long by a share makes everything look lower by it, about the first slice.
        heightsUm: ladder.nominalUm.map((z) => made.get(z)! / share + 0.003 * normal()),
        sdUm: ladder.nominalUm.map(() => 0.003),
      })!;
      for (const [name, at] of [
        ['low', 0],
        ['middle', 5],
        ['high', ladder.nominalUm.length - 1],
      ] as const) {
        const real = made.get(ladder.nominalUm[at]!)!;
        const z = found.height(real / share);
        if (Math.abs(z - real) < found.commonSd(z)) inside[name]++;
      }
      const scale = found.voxelToDieUm[2][2] / SLICE_UM;
      if (Math.abs(scale / share - 1) < found.scaleSd) inside.scale++;
      // One film's thickness as the folio states it, two faces measured to 3 nm each.
      const [bottom, top] = [ladder.nominalUm[4]!, ladder.nominalUm[5]!];
      const real = made.get(top)! - made.get(bottom)!;
      const q = thicknessOf(
        'measured',
        {
          ...{
            name: 'film',
            role: 'conductor',
            seen: 'whole',
            confidence: 1,
            in_scan_sd_um: 0.003,
            sd_um: 1,
          },
          ...{ nominal_bottom_um: bottom, nominal_top_um: top, bottom_um: 0 },
          top_um: scale * (real / share + 0.003 * (normal() - normal())),
        },
        found.plan.stepUm,
        found.scaleSd,
      )!;
      if (Math.abs(q.value_um - real) < q.expanded_um) thicknesses++;
    }
    // 68.3 % of 300, give or take three standard deviations of a binomial count (2.7 %).
    for (const count of Object.values(inside)) {
      expect(count / runs).toBeGreaterThan(0.6);
      expect(count / runs).toBeLessThan(0.77);
    }
    // 95 % of 300, give or take three standard deviations of a binomial count (1.3 %).
    expect(thicknesses / runs).toBeGreaterThan(0.912);
    expect(thicknesses / runs).toBeLessThan(0.988);
  });

  it('does not bend the scale for one thick film', () => {
    // The third film is 0.06 um too thick; what lies above is lifted.
    const heightsUm = ladder.nominalUm.map((z) => (z > 1.9 ? z + 0.06 : z));
    const found = redepth({
      ...{ voxelToDieUm: mapOf(1), plan: planOf(1), sliceUm: SLICE_UM, ladder, heightsUm, shown },
      sdUm: heightsUm.map(() => 0.003),
    })!;
    // A straight line through the faces would take a third of it off each end: slope above 0.025.
    expect(Math.abs(found.voxelToDieUm[2][2] / SLICE_UM - 1)).toBeLessThan(0.016);
    expect(found.sdUm).toBeGreaterThan(0.015);
  });

  it('leaves the map alone where too few faces show', () => {
    const input = { voxelToDieUm: mapOf(1), plan: planOf(1), sliceUm: SLICE_UM, ladder, shown: [0] };
    expect(redepth({ ...input, heightsUm: ladder.nominalUm, sdUm: ladder.nominalUm.map(() => 0.01) })).toBe(
      null,
    );
  });

  it('comes into the placement with its uncertainty', () => {
    const placement = {
      ...{ source: 'automatic', verdict: 'locked', warp: null, doubts: [], voxel_to_die_um: mapOf(1.03) },
      uncertainty_um: { x: 0.004, y: 0.004, z: 0.1 },
    } as unknown as Placement;
    const redepthed = { voxelToDieUm: mapOf(1), plan: planOf(1), sdUm: 0.02, scaleSd: 0.017 };
    const measured = { bowedWarp: null, redepthed, doubts: [] } as unknown as MeasuredHeights;
    const after = withMeasuredHeights(placement, measured);
    expect(after.voxel_to_die_um[2][2]).toBeCloseTo(SLICE_UM, 9);
    expect(after.uncertainty_um).toEqual({ x: 0.004, y: 0.004, z: 0.02 });
    expect(after.depth_scale_sd).toBe(0.017);
  });
});
