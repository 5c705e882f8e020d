import { describe, expect, it } from 'vitest';
import { planPlates } from '../../../pipeline/stages/place/plan-plates.ts';
import { labelByTexture, turnedUpward } from '../../../pipeline/stages/place/texture/label-texture.ts';
import { stackByTexture } from '../../../pipeline/stages/place/texture/stack-by-texture.ts';
import { layersSchema } from '../../../shared/artefacts/layers.ts';
import { unplaced } from '../../../shared/artefacts/placement.ts';
import { type Scene, type SceneOptions, scene, stackOf, VOXEL_UM } from './stack-scenes.ts';

/** Metals that grow thicker upward, so that the order of the slices can be told. */
const SIX = stackOf([
  ['metal1', 'conductor', 0.2, 0.35],
  ['via1', 'via', 0.55, 0.45],
  ['metal2', 'conductor', 1.0, 0.4],
  ['via2', 'via', 1.4, 0.55],
  ['metal3', 'conductor', 1.95, 0.5],
  ['via3', 'via', 2.45, 0.8],
  ['metal4', 'conductor', 3.25, 1.0],
]);

const tall = (options: SceneOptions): Scene => scene({ process: SIX, nz: 92, fromUm: -0.2, ...options });

/** Slice of the file at a height, in the middle of the field. */
const sliceAt = (made: Scene, z: number, topFirst: boolean): number => {
  const up = (z + 0.2) / VOXEL_UM;
  return topFirst ? made.scan.nz - 1 - up : up;
};

describe('a stack told by texture', { timeout: 120_000 }, () => {
  it('names slices rightly wherever it is sure, in either order and either contrast', async () => {
    let [sure, asked, orders] = [0, 0, 0];
    for (let seed = 1; seed <= 6; seed++) {
      const topFirst = seed % 2 === 0;
      const made = tall({
        seed,
        topFirst,
        sign: seed % 3 ? 1 : -1,
        cnr: seed > 3 ? 2.5 : 6,
        tilt: [0.001, -0.0005],
      });
      const stack = await stackByTexture(made.scan, SIX, VOXEL_UM * 1.03, VOXEL_UM, 'auto');
      const right = topFirst ? stack!.topFirst : 1 - stack!.topFirst;
      expect(right, `seed ${seed}`).toBeGreaterThan(0.05);
      if (right > 0.95) orders++;
      for (let k = 0; k < made.scan.nz; k++) {
        const faces = [...made.faces.values()].flat().map((z) => sliceAt(made, z, topFirst));
        if (faces.some((face) => Math.abs(face - k) < 1)) continue;
        asked++;
        SIX.layers.forEach((layer, l) => {
          if (stack!.at[l]![k]! < 0.9) return;
          const [bottom, top] = made.faces.get(layer.name)!.map((z) => sliceAt(made, z, topFirst));
          expect(k, `seed ${seed} ${layer.name}`).toBeGreaterThan(Math.min(bottom!, top!));
          expect(k, `seed ${seed} ${layer.name}`).toBeLessThan(Math.max(bottom!, top!));
          sure++;
        });
      }
    }
    expect(orders).toBeGreaterThanOrEqual(4);
    expect(sure / asked).toBeGreaterThan(0.4);
  });

  it('names nothing in noise', async () => {
    const made = tall({ seed: 9, drawings: new Map() });
    const stack = await stackByTexture(made.scan, SIX, VOXEL_UM, VOXEL_UM, 'auto');
    expect(Math.abs(stack!.topFirst - 0.5)).toBeLessThan(0.4);
    for (const list of stack!.at) for (const p of list) expect(p).toBeLessThan(0.9);
  });

  it('leaves the order open where the stack looks the same from either side', async () => {
    const even = stackOf([
      ['metal1', 'conductor', 0.5, 0.5],
      ['via1', 'via', 1.0, 0.5],
      ['metal2', 'conductor', 1.5, 0.5],
    ]);
    for (const topFirst of [false, true]) {
      const made = scene({ seed: 10, process: even, nz: 50, thicknessSd: 0, topFirst });
      const stack = await stackByTexture(made.scan, even, VOXEL_UM, VOXEL_UM, 'auto');
      expect(Math.abs(stack!.topFirst - 0.5)).toBeLessThan(0.3);
      const told = await stackByTexture(
        made.scan,
        even,
        VOXEL_UM,
        VOXEL_UM,
        topFirst ? 'top-first' : 'bottom-first',
      );
      expect(told!.topFirst).toBeCloseTo(topFirst ? 1 : 0, 9);
    }
  });

  it('gives heights that rise from the silicon, and says what it rests on', async () => {
    const made = tall({ seed: 4, topFirst: true });
    const { nx, ny, nz } = made.scan;
    const stack = await stackByTexture(made.scan, SIX, VOXEL_UM, VOXEL_UM, 'auto');
    const box = unplaced(
      [
        [VOXEL_UM, 0, 0, 0],
        [0, -VOXEL_UM, 0, (ny - 1) * VOXEL_UM],
        [0, 0, VOXEL_UM, 0],
      ],
      { seen_from: 'unknown', order: 'unknown' },
      'by hand',
      'nothing known',
    );
    const turned = turnedUpward(box, stack!, nz);
    expect(turned.voxel_to_die_um[2]).toEqual([-0, -0, -VOXEL_UM, (nz - 1) * VOXEL_UM]);
    expect(turned.order).toBe('top-first');
    const plan = planPlates(turned.voxel_to_die_um, [0, 0, nx, ny], nz);
    const { layers, doubts } = labelByTexture(SIX, stack!, turned, plan);
    layersSchema.parse(layers);
    layers.layers.forEach((layer) => {
      const [bottom, top] = made.faces.get(layer.name)!;
      // The frame of the scan begins at its lowest slice.
      expect(Math.abs(layer.bottom_um - bottom - 0.2), layer.name).toBeLessThan(2.5 * VOXEL_UM);
      expect(Math.abs(layer.top_um - top - 0.2), layer.name).toBeLessThan(2.5 * VOXEL_UM);
    });
    expect(doubts[0]).toContain('texture');
  });
});
