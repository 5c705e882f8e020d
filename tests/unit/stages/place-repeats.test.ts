/** Steps of drawings that repeat, at pitches drawn from a seed and known by construction. */
import { describe, expect, it } from 'vitest';
import { findRepeats } from '../../../pipeline/stages/place/automatic/repeats.ts';
import type { WorkVolume } from '../../../pipeline/stages/place/automatic/work-volume.ts';
import type { Affine3 } from '../../../shared/affine.ts';
import type { ProcessLayer } from '../../../shared/artefacts/process.ts';
import type { PlateGrid } from '../../../shared/frames.ts';
import { generator } from '../../fixtures/random.ts';

type Step = readonly [number, number];
type Rectangle = readonly [number, number, number, number];

const LAYERS = ['lower', 'upper'].map(
  (name, n): ProcessLayer => ({
    ...{ name, role: 'conductor', bottom_um: n, thickness_um: 0.5, drawn: [`${n}/0`] },
  }),
);
const NAMES = new Set(LAYERS.map((l) => l.name));

/** Rectangles of a cell at every place of a lattice, 60 um across; coverage from so many points per pixel and axis. */
function stackOf(cells: readonly (readonly Rectangle[])[], a: Step, b: Step, points: number) {
  const render = (layer: ProcessLayer, grid: PlateGrid): Float32Array => {
    const { width_px: width, height_px: height, pixel_um: pixel, origin_um: origin } = grid;
    const out = new Float32Array(width * height);
    const determinant = a[0] * b[1] - a[1] * b[0];
    const shapes = cells[LAYERS.findIndex((l) => l.name === layer.name)]!;
    const offsets = Array.from({ length: points }, (_, n) => (n + 0.5) / points - 0.5);
    for (let n = 0; n < out.length; n++)
      for (const dy of offsets)
        for (const dx of offsets) {
          const x = origin[0] + ((n % width) + dx) * pixel;
          const y = origin[1] - (Math.floor(n / width) + dy) * pixel;
          // Place in the cell, in units of the steps.
          const [p, q] = [(x * b[1] - y * b[0]) / determinant, (y * a[0] - x * a[1]) / determinant];
          const [u, v] = [p - Math.floor(p), q - Math.floor(q)];
          if (shapes.some(([x0, y0, x1, y1]) => u >= x0 && u < x1 && v >= y0 && v < y1))
            out[n]! += 1 / points ** 2;
        }
    return out;
  };
  return { layers: LAYERS, render };
}

const cellsOf = (random: () => number): Rectangle[][] =>
  LAYERS.map(() =>
    Array.from({ length: 2 }, (): Rectangle => {
      const [x, y] = [0.55 * random(), 0.55 * random()];
      return [x, y, x + 0.25 + 0.2 * random(), y + 0.2 + 0.25 * random()];
    }),
  );

/** Wires of random place and length, each painted once. */
function scattered(layer: ProcessLayer, grid: PlateGrid): Float32Array {
  const { width_px: width, height_px: height, pixel_um: pixel } = grid;
  const random = generator(77 + LAYERS.findIndex((l) => l.name === layer.name));
  const out = new Float32Array(width * height);
  for (let n = 0; n < 900; n++) {
    const [column, row] = [Math.floor(random() * width), Math.floor(random() * height)];
    const long = Math.round((0.4 + 2 * random()) / pixel);
    for (let r = row; r < Math.min(height, row + 4); r++)
      out.fill(1, r * width + column, r * width + Math.min(width, column + long));
  }
  return out;
}

const SIDE = 120;
const VOXEL = 0.08;
const WORK: WorkVolume = {
  ...{
    nx: SIDE,
    ny: SIDE,
    nz: 20,
    voxels: new Float32Array(0),
    weight: new Float32Array(SIDE * SIDE).fill(1),
  },
  ...{ voxelUm: [VOXEL, VOXEL, VOXEL], binning: 1, slowUm: 3 },
};

function turned(deg: number): Affine3 {
  const [c, s] = [VOXEL * Math.cos((deg * Math.PI) / 180), VOXEL * Math.sin((deg * Math.PI) / 180)];
  const h = (SIDE - 1) / 2;
  return [
    [c, s, 0, 7 - (c + s) * h],
    [s, -c, 0, 5 - (s - c) * h],
    [0, 0, VOXEL, 0],
  ];
}

describe('repeats of the drawing', () => {
  it.each([1, 2, 3, 4])('finds the steps of a lattice to a hundredth, seed %d', async (seed) => {
    const random = generator(seed * 101);
    const short = 0.7 + 1.2 * random();
    const long = short * (1.1 + 0.5 * random());
    const slant = seed % 2 === 0 ? 0.3 * short * random() : 0;
    const [a, b] = [
      [short, 0],
      [slant, long],
    ] as const;
    const { latticeUm, places } = await findRepeats(
      WORK,
      turned(360 * random()),
      stackOf(cellsOf(random), a, b, 2),
      NAMES,
    );
    expect(latticeUm).toHaveLength(2);
    for (const [n, wanted] of [a, b].entries()) {
      const [x, y] = latticeUm[n]!;
      expect(Math.hypot(x - wanted[0], y - wanted[1])).toBeLessThan(0.01 * long);
    }
    expect(places[0]!.likeness).toBeGreaterThan(0.9);
  });

  it('names no step where a drawing does not repeat, nor along wires that run through', async () => {
    const wide = await findRepeats(WORK, turned(10), { layers: LAYERS, render: scattered }, NAMES);
    expect(wide.latticeUm).toHaveLength(0);
    const wires: Rectangle[] = [[0, 0, 1, 0.4]];
    const lines = await findRepeats(WORK, turned(10), stackOf([wires, wires], [60, 0], [0, 1.5], 2), NAMES);
    expect(lines.latticeUm.length).toBeLessThan(2);
    for (const [x, y] of lines.latticeUm) {
      // Along the lines any shift will do.
      expect(Math.abs(x)).toBeLessThan(0.25);
      expect(y).toBeCloseTo(1.5, 1);
    }
  });
});
