import { describe, expect, it } from 'vitest';
import { fitBow, type Lift } from '../../../pipeline/stages/place/heights/bow.ts';
import { LocalMean } from '../../../pipeline/stages/place/heights/local-mean.ts';
import {
  type MeasuredHeights,
  measureHeights,
} from '../../../pipeline/stages/place/heights/measure-heights.ts';
import { planPlates } from '../../../pipeline/stages/place/plan-plates.ts';
import { layersSchema } from '../../../shared/artefacts/layers.ts';
import { generator } from '../../fixtures/random.ts';
import { drawingsOf, FIVE, type Matrix, type Scene, scene, stackOf, VOXEL_UM } from './stack-scenes.ts';

/** Measures a scene with a placement that is a little off, and gives errors in voxels of the scan. */
async function measure(made: Scene, off: { lift?: number; scale?: number; zSdUm?: number } = {}) {
  const { lift = 0, scale = 1 } = off;
  const map = made.map.map((row, axis) =>
    axis === 2 ? [row[0] * scale, row[1] * scale, row[2] * scale, row[3] * scale + lift] : [...row],
  ) as unknown as Matrix;
  const plan = planPlates(map, [0, 0, made.scan.nx, made.scan.ny], made.scan.nz);
  const found = await measureHeights({
    sliceUm: null,
    ...{ scan: made.scan, process: made.process, drawing: made.drawing, plan },
    placement: {
      ...{ voxel_to_die_um: map, warp: null },
      ...(off.zSdUm ? { uncertainty_um: { x: 0.01, y: 0.01, z: off.zSdUm } } : {}),
    },
  });
  return { found, plan, inScan: (z: number) => (z - lift) / scale };
}

type Answer = Awaited<ReturnType<typeof measure>>;

function misses(made: Scene, { found, inScan }: Answer) {
  return found!.layers.layers.flatMap((layer) => {
    const [bottom, top] = made.faces.get(layer.name)!;
    return [
      {
        name: layer.name,
        voxels: (inScan(layer.bottom_um) - bottom) / VOXEL_UM,
        sd: layer.bottom_sd_um! / VOXEL_UM,
      },
      { name: layer.name, voxels: (inScan(layer.top_um) - top) / VOXEL_UM, sd: layer.top_sd_um! / VOXEL_UM },
    ];
  });
}

const layerOf = (found: MeasuredHeights | null, name: string) =>
  found!.layers.layers.find((l) => l.name === name)!;

describe('measured heights', { timeout: 120_000 }, () => {
  it('state what the placement leaves open of their height, and beside it where they lie in the scan', async () => {
    const made = scene({ seed: 2, cnr: 4, sign: 1, topFirst: false, tilt: [0, 0] });
    const [alone, placed] = [await measure(made), await measure(made, { zSdUm: 0.03 })];
    alone.found!.layers.layers.forEach((layer, n) => {
      const other = placed.found!.layers.layers[n]!;
      expect(other.in_scan_sd_um).toBe(layer.sd_um);
      // Independent parts add as squares. @source JCGM 100:2008, formula (10).
      expect(other.bottom_sd_um).toBeCloseTo(Math.hypot(layer.bottom_sd_um!, 0.03), 9);
      expect(other.sd_um).toBeCloseTo(Math.hypot(layer.sd_um, 0.03), 9);
      expect(other.confidence).toBe(layer.confidence);
    });
    expect(placed.found!.layers.plates).toEqual(alone.found!.layers.plates);
  });

  it('are right to half a voxel and within their stated deviations, whatever the contrast, tilt and order', async () => {
    const random = generator(3);
    const all: { voxels: number; sd: number }[] = [];
    for (let seed = 1; seed <= 8; seed++) {
      const made = scene({
        ...{ seed, cnr: [1.5, 2.5, 4, 10][seed % 4]!, sign: seed % 2 ? 1 : -1, topFirst: random() < 0.5 },
        tilt: [0.002 * (random() - 0.5), 0.002 * (random() - 0.5)],
      });
      const answer = await measure(made, { lift: 0.1 * (random() - 0.5), scale: 0.95 + 0.1 * random() });
      expect(answer.found, `seed ${seed}`).not.toBeNull();
      layersSchema.parse(answer.found!.layers);
      const here = misses(made, answer);
      for (const miss of here) expect(Math.abs(miss.voxels), `seed ${seed} ${miss.name}`).toBeLessThan(0.75);
      all.push(...here);
      // Plates: right wherever they do not lie astride a true face.
      answer.found!.layers.plates.forEach((plate) => {
        const z = answer.inScan(plate.z_um);
        if ([...made.faces.values()].flat().some((face) => Math.abs(face - z) < VOXEL_UM)) return;
        const inside = [...made.faces].filter(([, [low, high]]) => z > low && z < high).map(([name]) => name);
        expect(plate.layer, `seed ${seed} at ${z}`).toBe(inside[0] ?? null);
      });
    }
    const share = (most: number) => all.filter((m) => Math.abs(m.voxels) <= most * m.sd).length / all.length;
    expect(share(1)).toBeGreaterThan(0.5);
    expect(share(3)).toBeGreaterThan(0.97);
    // Deviations that are far too wide would pass the above.
    expect(all.reduce((s, m) => s + m.sd, 0) / all.length).toBeLessThan(0.4);
  });

  it('of a layer that the field does not hold are reckoned, with a wider deviation and less confidence', async () => {
    const drawings = drawingsOf(FIVE, 6, 21);
    drawings.set('metal2', []);
    const made = scene({ seed: 21, drawings });
    const answer = await measure(made);
    expect(layerOf(answer.found, 'metal2').heights_from).toBe('neighbours');
    expect(layerOf(answer.found, 'metal2').confidence).toBeLessThanOrEqual(0.8);
    expect(layerOf(answer.found, 'via1').heights_from).toBe('image');
    expect(layerOf(answer.found, 'via1').confidence).toBeGreaterThan(0.95);
    for (const miss of misses(made, answer)) expect(Math.abs(miss.voxels)).toBeLessThan(4 * miss.sd);
    const top = drawingsOf(FIVE, 6, 22);
    top.set('metal3', []);
    const open = await measure(scene({ seed: 22, drawings: top }));
    const last = layerOf(open.found, 'metal3');
    // Nothing above holds its top: a twentieth of its thickness is all that is known of it.
    expect(last.top_sd_um!).toBeGreaterThan(2 * last.bottom_sd_um!);
    expect(open.found!.doubts.join(' ')).toContain('metal3');
  });

  it('tell stacked vias apart though their drawings are the same', async () => {
    for (const seed of [31, 32, 33]) {
      const drawings = drawingsOf(FIVE, 6, seed);
      drawings.set('via2', drawings.get('via1')!);
      const made = scene({ seed, drawings });
      const answer = await measure(made);
      for (const miss of misses(made, answer)) expect(Math.abs(miss.voxels), miss.name).toBeLessThan(0.75);
    }
  });

  it('say what the scan cuts and what it does not reach', async () => {
    const made = scene({ seed: 41, fromUm: 0.9, nz: 30 });
    const answer = await measure(made, { scale: 1.03 });
    const seen = Object.fromEntries(answer.found!.layers.layers.map((l) => [l.name, l.seen]));
    expect(seen).toEqual({ metal1: 'outside', via1: 'cut', metal2: 'whole', via2: 'whole', metal3: 'cut' });
    for (const miss of misses(made, answer)) {
      expect(Math.abs(miss.voxels), miss.name).toBeLessThan(4 * miss.sd);
      if (miss.name === 'metal2') expect(Math.abs(miss.voxels)).toBeLessThan(0.75);
    }
  });

  it('take a contact that stands beside the gate', async () => {
    const process = stackOf([
      ['poly', 'conductor', 0.3, 0.3],
      ['contact', 'via', 0.3, 0.8],
      ['metal1', 'conductor', 1.1, 0.5],
    ]);
    const made = scene({ seed: 51, process, nz: 40 });
    const answer = await measure(made, { lift: 0.03 });
    for (const miss of misses(made, answer)) expect(Math.abs(miss.voxels), miss.name).toBeLessThan(0.75);
    const named = new Set(answer.found!.layers.plates.map((p) => p.layer));
    expect(named).toEqual(new Set([null, 'poly', 'contact', 'metal1']));
  });

  it('follow a bow, and leave flat layers flat', async () => {
    for (const [seed, bowUm] of [
      [61, 0.2],
      [62, -0.2],
      [63, 0],
      [64, 0],
    ] as const) {
      const made = scene({ seed, bowUm, side: 160 });
      const { found } = await measure(made);
      expect(found?.bowedWarp !== null, `bow ${bowUm}`).toBe(bowUm !== 0);
      if (!found?.bowedWarp) continue;
      // From the middle of the field to the middle of a side the layers fall by half the bow.
      const { dz_um, shape, origin_um, step_um } = found.bowedWarp;
      const at = (x: number, y: number) =>
        dz_um[
          Math.round((y - origin_um[1]) / step_um) * shape[1] + Math.round((x - origin_um[0]) / step_um)
        ]!;
      expect(Math.abs(at(0, 4) - at(4, 4) - bowUm / 2)).toBeLessThan(0.04);
    }
  });

  it('are not claimed for another drawing, or for noise', async () => {
    for (const seed of [71, 72, 73, 74, 75, 76]) {
      const made = scene({ seed });
      const other = { ...made, drawing: scene({ seed: seed + 100 }).drawing };
      expect((await measure(other)).found, `seed ${seed}`).toBeNull();
      const noise = { ...made, scan: scene({ seed, drawings: new Map() }).scan };
      expect((await measure(noise)).found, `noise ${seed}`).toBeNull();
    }
  });
});

describe('a bow', () => {
  const blocks = Array.from({ length: 25 }, (_, n) => ({
    at: [((n % 5) - 2) / 2.5, (Math.floor(n / 5) - 2) / 2.5] as const,
    ...{ pixels: 100, gram: new Float64Array(0), cross: [], power: new Float64Array(0) },
  }));
  const normal = (random: () => number) =>
    Math.sqrt(-2 * Math.log(1 - random())) * Math.cos(2 * Math.PI * random());
  const lifts = (seed: number, shape: (p: number, q: number) => number): Lift[] => {
    const random = generator(seed);
    return blocks.map(({ at }) => ({ at, sdUm: 0.01, liftUm: shape(at[0], at[1]) + 0.01 * normal(random) }));
  };

  it('is seldom found where there is none', () => {
    let found = 0;
    for (let seed = 0; seed < 300; seed++)
      if (
        fitBow(
          lifts(seed, () => 0),
          { blocks },
          0.02,
        )
      )
        found++;
    expect(found).toBeLessThanOrEqual(3);
  });

  it('is found where there is one, of mean 0, in spite of a wild block', () => {
    for (let seed = 0; seed < 50; seed++) {
      const list = lifts(seed, (p, q) => 0.1 * p * p - 0.05 * p * q);
      const wild = list.map((lift, n) => (n === seed % 25 ? { ...lift, liftUm: 1 } : lift));
      const bow = fitBow(wild, { blocks }, 0.02);
      expect(bow, `seed ${seed}`).not.toBeNull();
      expect(Math.abs(bow!.terms[3]! - 0.1)).toBeLessThan(0.05);
    }
  });
});

describe('the local mean', () => {
  it('is that of the valid pixels in the square, as summed directly', () => {
    const random = generator(8);
    for (const [width, height, radius] of [
      [13, 9, 2],
      [5, 17, 4],
      [6, 6, 9],
    ] as const) {
      const values = Float32Array.from({ length: width * height }, () => random());
      const valid = Uint8Array.from(values, () => (random() < 0.8 ? 1 : 0));
      const out = new Float32Array(width * height);
      new LocalMean(width, height, radius).subtract(values, valid, out);
      values.forEach((value, n) => {
        const [x, y] = [n % width, Math.floor(n / width)];
        let [sum, count] = [0, 0];
        values.forEach((other, m) => {
          const near = Math.abs((m % width) - x) <= radius && Math.abs(Math.floor(m / width) - y) <= radius;
          if (!near || !valid[m]) return;
          sum += other;
          count++;
        });
        expect(out[n]!).toBeCloseTo(valid[n] ? value - sum / count : 0, 5);
      });
    }
  });
});
