/** The last step of a placement against shifts, offsets and heights that are known by construction. */
import { spawnSync } from 'node:child_process';
import { describe, expect, it } from 'vitest';
import type { DieView } from '../../../pipeline/stages/place/automatic/die-view.ts';
import { filmsBelow, fitDepth } from '../../../pipeline/stages/place/automatic/settle/depth-fit.ts';
import { measureLayerShifts } from '../../../pipeline/stages/place/automatic/settle/layer-shifts.ts';
import { throughLayers } from '../../../pipeline/stages/place/automatic/settle/through-layers.ts';
import { generator } from '../../fixtures/random.ts';

/** Sum of twelve uniform numbers less six: normal enough. */
const normalOf = (next: () => number) => (): number =>
  Array.from({ length: 12 }, next).reduce((a, b) => a + b, -6);

const SIDE = 64;
const PIXEL_UM = 0.1;

/** Bumps of a closed form, so that a shifted picture is exact. */
function picture(seed: number, u: number, v: number, wide: number): Float32Array {
  const next = generator(seed);
  const bumps = Array.from(
    { length: 60 },
    () => [next() * SIDE, next() * SIDE, next() < 0.5 ? 1 : -1] as const,
  );
  const out = new Float32Array(SIDE * SIDE);
  for (let row = 0; row < SIDE; row++)
    for (let column = 0; column < SIDE; column++)
      for (const [x, y, height] of bumps)
        out[row * SIDE + column]! +=
          height * Math.exp(-((column - x - u) ** 2 + (row - y - v) ** 2) / (2 * wide * wide));
  return out;
}

function viewOf(drawn: Float32Array, slab: Float32Array): DieView {
  const layer = { name: 'metal', role: 'conductor' as const, bottom_um: 0, thickness_um: 0.4, drawn: [] };
  const frame = {
    ...{ left: 0, top: 0, pixel: PIXEL_UM, width: SIDE, height: SIDE, bottom: 0, step: 0.05, count: 1 },
  };
  const plate = { origin_um: [0, 0] as const, pixel_um: PIXEL_UM, width_px: SIDE, height_px: SIDE };
  return {
    ...{ grid: { plate, frame, pictures: [] }, sums: new Float32Array(0), range: [0, 0] },
    weight: new Float32Array(SIDE * SIDE).fill(1),
    layers: [{ layer, picture: drawn, power: 1, middleUm: 0.2, halfUm: 0.2, slab, spread: 1 }],
  };
}

const skimage = ['/usr/bin/python3', 'python3'].find(
  (python) => spawnSync(python, ['-c', 'import skimage.registration']).status === 0,
);
const note = skimage ? '' : ' (skipped: no scikit-image, Debian package python3-skimage)';

describe('shifts of a layer, patch by patch', () => {
  it.each([
    [0.3, -0.2],
    [-0.85, 0.6],
    [0.05, 0.02],
  ])('are found to a small part of a pixel: %d, %d', (u, v) => {
    const normal = normalOf(generator(5));
    const slab = picture(1, u, v, 3).map((value) => -0.7 * value + 0.1 * normal());
    const cells = measureLayerShifts(viewOf(picture(1, 0, 0, 2.7), slab), -1);
    expect(cells.length).toBeGreaterThan(3);
    const total = cells.reduce((s, c) => s + c.precision[0], 0);
    const x = cells.reduce((s, c) => s + c.precision[0] * c.shiftUm[0], 0) / total / PIXEL_UM;
    const y =
      cells.reduce((s, c) => s + c.precision[2] * c.shiftUm[1], 0) /
      cells.reduce((s, c) => s + c.precision[2], 0) /
      PIXEL_UM;
    expect(Math.abs(x - u)).toBeLessThan(0.05 + 0.08 * Math.abs(u));
    // Rows run down, y runs up.
    expect(Math.abs(y + v)).toBeLessThan(0.05 + 0.08 * Math.abs(v));
  });

  it('says nothing of a picture of the other contrast, or of noise', () => {
    const drawn = picture(2, 0, 0, 2.7);
    expect(measureLayerShifts(viewOf(drawn, picture(2, 0.2, 0, 3)), -1)).toHaveLength(0);
    const normal = normalOf(generator(9));
    const found = measureLayerShifts(
      viewOf(
        drawn,
        drawn.map(() => normal()),
      ),
      1,
    );
    expect(found.length).toBeLessThan(2);
  });

  /** The peer: phase_cross_correlation of scikit-image on the same pictures. */
  it.skipIf(!skimage)(`agree with scikit-image's phase correlation${note}`, () => {
    const [u, v] = [0.4, -0.3];
    const [drawn, slab] = [picture(3, 0, 0, 2.5), picture(3, u, v, 2.5)];
    const script = `
import json, sys, numpy
from skimage.registration import phase_cross_correlation
a, b = [numpy.array(p).reshape(${SIDE}, ${SIDE}) for p in json.load(sys.stdin)]
w = numpy.hanning(${SIDE}); w = numpy.outer(w, w)
print(json.dumps([float(s) for s in phase_cross_correlation(b * w, a * w, upsample_factor=50, normalization=None)[0]]))`;
    const { stdout } = spawnSync(skimage!, ['-c', script], {
      input: JSON.stringify([[...drawn], [...slab]]),
      encoding: 'utf8',
    });
    const [down, right] = JSON.parse(stdout) as [number, number];
    const cells = measureLayerShifts(viewOf(drawn, slab), 1);
    const mean = (of: (c: (typeof cells)[number]) => number): number =>
      cells.reduce((s, c) => s + of(c), 0) / cells.length / PIXEL_UM;
    expect(Math.abs(mean((c) => c.shiftUm[0]) - right)).toBeLessThan(0.1);
    expect(Math.abs(-mean((c) => c.shiftUm[1]) - down)).toBeLessThan(0.1);
  });
});

describe('the map through all layers', () => {
  const heights = [0.4, 0.9, 1.5, 2.2, 2.9, 3.6, 4.4];

  it('states an uncertainty that two in three errors stay below', () => {
    const normal = normalOf(generator(31));
    let inside = 0;
    for (let run = 0; run < 200; run++) {
      const layers = heights.map((zUm) => ({
        zUm,
        offsetUm: [Math.hypot(0.01, 0.002) * normal(), Math.hypot(0.01, 0.002) * normal()] as const,
        variance: [4e-6, 4e-6] as const,
      }));
      const { placeUm, sdUm } = throughLayers(layers, 2.3, [0, 0], [0, 0], 0.01);
      for (const axis of [0, 1] as const) if (Math.abs(placeUm[axis]) < sdUm[axis]) inside++;
    }
    // 68.3 % of 400, give or take three standard deviations of a binomial count.
    expect(inside / 400).toBeGreaterThan(0.6);
    expect(inside / 400).toBeLessThan(0.78);
  });

  it('is not dragged away by a layer with many edges, nor by one that shows something else', () => {
    const even = heights.map((zUm) => ({ zUm, offsetUm: [0, 0] as const, variance: [1e-6, 1e-6] as const }));
    const strong = even.map((l, n) =>
      n === 0 ? { ...l, offsetUm: [0.014, 0] as const, variance: [1e-9, 1e-9] as const } : l,
    );
    expect(throughLayers(strong, 2.3, [0, 0], [0, 0], 0.01).placeUm[0]).toBeLessThan(0.0035);
    const wrong = even.map((l, n) => (n === 3 ? { ...l, offsetUm: [0.12, 0] as const } : l));
    expect(throughLayers(wrong, 2.3, [0, 0], [0, 0], 0.01).placeUm[0]).toBeLessThan(0.004);
  });

  it('believes the sides of wires where their ends lie off, each axis by itself', () => {
    const layers = heights.map((zUm, n) => ({
      zUm,
      offsetUm: [n === 2 ? 0.11 : 0.004, n === 2 ? -0.012 : 0] as const,
      variance: [n === 2 ? 4e-4 : 1e-6, 1e-6] as const,
    }));
    const { placeUm } = throughLayers(layers, 2.3, [0, 0], [0, 0], 0.01);
    expect(placeUm[0]).toBeCloseTo(0.004, 3);
    // Along y that layer counts like every other: -0.012 / 7, a little less by Student's weights.
    expect(placeUm[1]).toBeLessThan(-0.0008);
  });

  it('takes the tilt from the offsets of the layers where their heights tell it worse', () => {
    const offset = (zUm: number) => [0.004 * (zUm - 2.3), 0] as const;
    const layers = heights.map((zUm) => ({ zUm, offsetUm: offset(zUm), variance: [1e-6, 1e-6] as const }));
    const sure = throughLayers(layers, 2.3, [0, 0], [0, 0], 0.01);
    expect(Math.abs(sure.lean[0])).toBeLessThan(0.0005);
    const unsure = throughLayers(layers, 2.3, [0, 0], [0.02, 0.02], 0.01);
    expect(unsure.lean[0]).toBeCloseTo(0.004, 3);
    expect(unsure.tilted[0]).toBeCloseTo(unsure.lean[0], 10);
    // Both about equally sure: the answer lies between. Seven layers 0.01 um off each give the lean to 0.01 over the root of the
    // sum of their squared heights; that these lie on a line makes them surer.
    const spread = Math.sqrt(heights.reduce((s, z) => s + (z - 2.3) ** 2, 0));
    const even = throughLayers(layers, 2.3, [0, 0], [0.01 / spread, 0.01 / spread], 0.01);
    expect(even.lean[0]).toBeGreaterThan(0.0015);
    expect(even.lean[0]).toBeLessThan(0.0038);
  });

  it('keeps the axes of the scan at right angles unless the layers deny it clearly', () => {
    const normal = normalOf(generator(8));
    const leaning = (lean: number) =>
      heights.map((zUm) => ({
        zUm,
        offsetUm: [lean * (zUm - 2.3) + 0.009 * normal(), 0.009 * normal()] as const,
        variance: [1e-6, 1e-6] as const,
      }));
    expect(Math.abs(throughLayers(leaning(0.003), 2.3, [0, 0], [0, 0], 0.01).lean[0])).toBeLessThan(0.001);
    expect(throughLayers(leaning(0.06), 2.3, [0, 0], [0, 0], 0.01).lean[0]).toBeCloseTo(0.06, 2);
  });
});

describe('the map through the films', () => {
  const levelsUm = [0, 0.4, 0.8, 1.3, 1.7, 2.2, 2.7, 3.2];
  const middleUm = [0.6, 1.05, 1.5, 1.95, 2.45, 2.95];

  it('sums the variance of the films below', () => {
    // By hand: films of 0.4 and 0.2 um, each 5 % off.
    expect(filmsBelow(levelsUm, 0.6)).toBeCloseTo((0.05 * 0.4) ** 2 + (0.05 * 0.2) ** 2, 10);
  });

  it('is not dragged up by a layer that shows something else', () => {
    const fitOf = (offsetUm: (number | null)[]) =>
      fitDepth({
        depths: { cells: [], offsetUm },
        ...{ middleUm, levelsUm, middle: [0, 0, 1.8], stretch: 1 },
      })!;
    const honest = [0.004, -0.006, 0.01, 0.002, -0.008, 0.012];
    const dragged = fitOf(honest.map((v, n) => (n === 0 ? 0.31 : v)));
    const without = fitOf(honest.map((v, n) => (n === 0 ? null : v)));
    expect(Math.abs(dragged.place - without.place)).toBeLessThan(0.008);
    expect(Math.abs(dragged.alongZ - without.alongZ)).toBeLessThan(0.008);
  });

  it('states the uncertainty of its height', () => {
    const normal = normalOf(generator(77));
    let inside = 0;
    const runs = 300;
    for (let run = 0; run < runs; run++) {
      const made = [0];
      for (let n = 1; n < levelsUm.length; n++)
        made.push(made[n - 1]! + (levelsUm[n]! - levelsUm[n - 1]!) * (1 + 0.05 * normal()));
      const madeAt = (z: number): number => {
        const n = levelsUm.findIndex((level) => level >= z);
        const share = (z - levelsUm[n - 1]!) / (levelsUm[n]! - levelsUm[n - 1]!);
        return made[n - 1]! + share * (made[n]! - made[n - 1]!);
      };
      // The map's voxel is right; heights are what the chip was made with.
      const voxel = 1 + 0.03 * normal();
      const fit = fitDepth({
        depths: { cells: [], offsetUm: middleUm.map((z) => madeAt(z) - z) },
        ...{ middleUm, levelsUm, middle: [0, 0, 1.8], stretch: 1 / voxel },
      })!;
      if (Math.abs(fit.place) < fit.sdUm) inside++;
    }
    expect(inside / runs).toBeGreaterThan(0.6);
    expect(inside / runs).toBeLessThan(0.8);
  });
});
