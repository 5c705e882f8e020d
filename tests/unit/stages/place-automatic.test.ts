/** Automatic placement on small chips made up here, point by point, without any renderer or imaging of the project. */
import { describe, expect, it } from 'vitest';
import { type Field, warpOf } from '../../../pipeline/stages/place/automatic/bending.ts';
import { exactDrawing, snapping } from '../../../pipeline/stages/place/automatic/die-view.ts';
import { openImprovers } from '../../../pipeline/stages/place/automatic/improve.ts';
import { findTilt } from '../../../pipeline/stages/place/automatic/levelling.ts';
import type { Hypothesis } from '../../../pipeline/stages/place/automatic/orientation.ts';
import { placeAutomatically } from '../../../pipeline/stages/place/automatic/place-automatic.ts';
import { findPlaneAngle } from '../../../pipeline/stages/place/automatic/plane-angle.ts';
import { settle } from '../../../pipeline/stages/place/automatic/settle/settle.ts';
import { coarser } from '../../../pipeline/stages/place/automatic/work-levels.ts';
import type { WorkVolume } from '../../../pipeline/stages/place/automatic/work-volume.ts';
import { type Affine3, apply3 } from '../../../shared/affine.ts';
import type { Warp } from '../../../shared/artefacts/placement.ts';
import type { ProcessLayer } from '../../../shared/artefacts/process.ts';
import { InputFault } from '../../../shared/errors.ts';
import type { PlateGrid } from '../../../shared/frames.ts';
import type { Box } from '../../../shared/polygon.ts';
import { displacementAt } from '../../../shared/warp.ts';

type Rectangle = readonly [number, number, number, number];
interface Chip {
  readonly layers: readonly ProcessLayer[];
  readonly shapes: readonly (readonly Rectangle[])[];
}

/** A generator without visible lattice structure: the noise of whole volumes is drawn from it. */
function randomOf(seed: number): () => number {
  let state = seed >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let t = Math.imul(state ^ (state >>> 15), state | 1);
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61);
    return ((t ^ (t >>> 14)) >>> 0) / 2 ** 32;
  };
}

const HEIGHTS = [
  [0.3, 0.3],
  [0.8, 0.4],
  [1.5, 0.35],
  [2.2, 0.5],
] as const;

const layersOf = (): ProcessLayer[] =>
  HEIGHTS.map(([bottom_um, thickness_um], n) => ({
    ...{ name: `level${n}`, role: 'conductor' as const, bottom_um, thickness_um },
    drawn: [`${n}/0` as const],
  }));

/** Wires of random place and length on tracks 0.7 um apart, over 24 x 24 um. */
function randomChip(seed: number): Chip {
  const random = randomOf(seed);
  const shapes = HEIGHTS.map((_, level) =>
    Array.from({ length: 260 }, (): Rectangle => {
      const across = 0.7 * Math.floor(random() * 34);
      const along = random() * 24;
      const long = 0.6 + 2.2 * random();
      const wide = 0.35;
      return level % 2 === 0
        ? [along, across, along + long, across + wide]
        : [across, along, across + wide, along + long];
    }),
  );
  return { layers: layersOf(), shapes };
}

/** One cell of 0.8 x 0.8 um again and again. */
function repeatedChip(seed: number): Chip {
  const random = randomOf(seed);
  const shapes = HEIGHTS.map(() => {
    const cell = Array.from(
      { length: 2 },
      () => [random() * 0.4, random() * 0.4, 0.2 + random() * 0.2] as const,
    );
    const all: Rectangle[] = [];
    for (let a = 0; a < 30; a++)
      for (let b = 0; b < 30; b++)
        for (const [x, y, long] of cell)
          all.push([0.8 * a + x, 0.8 * b + y, 0.8 * a + x + long, 0.8 * b + y + 0.25]);
    return all;
  });
  return { layers: layersOf(), shapes };
}

const covers = (shapes: readonly Rectangle[], x: number, y: number): boolean =>
  shapes.some(([x0, y0, x1, y1]) => x >= x0 && x < x1 && y >= y0 && y < y1);

/** Coverage from nine sample points per pixel. */
function render(chip: Chip, layer: ProcessLayer, grid: PlateGrid): Float32Array {
  const out = new Float32Array(grid.width_px * grid.height_px);
  const { pixel_um: pixel, origin_um: origin } = grid;
  for (const [x0, y0, x1, y1] of chip.shapes[chip.layers.findIndex((l) => l.name === layer.name)]!) {
    const column0 = Math.max(0, Math.floor((x0 - origin[0]) / pixel - 1));
    const column1 = Math.min(grid.width_px - 1, Math.ceil((x1 - origin[0]) / pixel + 1));
    const row0 = Math.max(0, Math.floor((origin[1] - y1) / pixel - 1));
    const row1 = Math.min(grid.height_px - 1, Math.ceil((origin[1] - y0) / pixel + 1));
    for (let row = row0; row <= row1; row++) {
      for (let column = column0; column <= column1; column++) {
        let hits = 0;
        for (const dy of [-1 / 3, 0, 1 / 3])
          for (const dx of [-1 / 3, 0, 1 / 3]) {
            const x = origin[0] + (column + dx) * pixel;
            const y = origin[1] - (row + dy) * pixel;
            if (x >= x0 && x < x1 && y >= y0 && y < y1) hits++;
          }
        const p = row * grid.width_px + column;
        out[p] = Math.min(1, out[p]! + hits / 9);
      }
    }
  }
  return out;
}

interface Pose {
  readonly x: number;
  readonly y: number;
  readonly turnDeg: number;
  readonly mirrored: boolean;
  readonly topFirst: boolean;
  readonly tilt: readonly [number, number];
}

const VOXEL = 0.1;
type Size = readonly [number, number, number];
const SIZE: Size = [100, 92, 28];
const WIDE: Size = [150, 140, 28];

function mapOf(pose: Pose, size = SIZE): Affine3 {
  const cos = Math.cos((pose.turnDeg * Math.PI) / 180);
  const sin = Math.sin((pose.turnDeg * Math.PI) / 180);
  const m = pose.mirrored ? -1 : 1;
  const r = pose.topFirst ? -1 : 1;
  const [a, b] = pose.tilt;
  const linear = [
    [m * cos * VOXEL, sin * VOXEL, 0],
    [m * sin * VOXEL, -cos * VOXEL, 0],
    [a * VOXEL, b * VOXEL, r * VOXEL],
  ] as const;
  const middle = size.map((n) => (n - 1) / 2);
  const at = [pose.x, pose.y, 1.5];
  return linear.map((row, axis) => [
    ...row,
    at[axis]! - row.reduce((sum, v, n) => sum + v * middle[n]!, 0),
  ]) as unknown as Affine3;
}

/** Point samples of the chip with white noise, each slice brought to mean 0 and spread 1. */
function scanOf(
  chip: Chip,
  pose: Pose,
  contrast: number,
  noise: number,
  seed: number,
  size = SIZE,
  warp: Warp | null = null,
): WorkVolume {
  const map = mapOf(pose, size);
  const [nx, ny, nz] = size;
  const random = randomOf(seed);
  const voxels = new Float32Array(nx * ny * nz);
  for (let k = 0; k < nz; k++) {
    const slice = voxels.subarray(k * nx * ny, (k + 1) * nx * ny);
    for (let j = 0; j < ny; j++) {
      for (let i = 0; i < nx; i++) {
        const [x0, y0, z] = apply3(map, [i, j, k]);
        const [dx, dy] = warp ? displacementAt(warp, x0, y0) : [0, 0];
        const [x, y] = [x0 + dx, y0 + dy];
        const level = chip.layers.findIndex((l) => z >= l.bottom_um && z < l.bottom_um + l.thickness_um);
        const metal = level >= 0 && covers(chip.shapes[level]!, x, y) ? contrast : 0;
        slice[j * nx + i] = metal + noise * (random() + random() + random() - 1.5) * 2;
      }
    }
    const mean = slice.reduce((sum, v) => sum + v, 0) / slice.length;
    const spread = Math.sqrt(slice.reduce((sum, v) => sum + (v - mean) ** 2, 0) / slice.length) || 1;
    for (let p = 0; p < slice.length; p++) slice[p] = (slice[p]! - mean) / spread;
  }
  return {
    ...{ nx, ny, nz, voxels, weight: new Float32Array(nx * ny).fill(1) },
    ...{ voxelUm: [VOXEL, VOXEL, VOXEL], binning: 1, slowUm: 3 },
  };
}

const REGION = [11.8, 10.3, 13.4, 11.9] as const;
const place = (
  work: WorkVolume,
  chip: Chip,
  centresUm: Box = REGION,
  layoutUm: Box = centresUm,
  threads = 2,
) =>
  placeAutomatically({
    ...{ work, centresUm, layoutUm, signs: [1, -1] as const, allowed: () => true },
    stack: { layers: chip.layers, render: (layer, grid) => render(chip, layer, grid) },
    threads,
    pause: async () => {},
  });

const POSE: Pose = { x: 12.6, y: 11.1, turnDeg: 97, mirrored: true, topFirst: true, tilt: [0.004, -0.006] };

describe('automatic placement', { timeout: 300_000 }, () => {
  it('places a turned, mirrored, inverted, noisy scan to a fraction of a voxel', async () => {
    const chip = randomChip(1);
    const result = await place(scanOf(chip, POSE, -1, 0.6, 2), chip);
    expect(result.verdict).toBe('locked');
    const truth = mapOf(POSE);
    for (const voxel of [
      [0, 0, 0],
      [SIZE[0] - 1, 0, 15],
      [40, SIZE[1] - 1, SIZE[2] - 1],
    ] as const) {
      const found = apply3(result.best!.workToDie, voxel);
      const wanted = apply3(truth, voxel);
      expect(Math.hypot(found[0] - wanted[0], found[1] - wanted[1]) / VOXEL).toBeLessThan(0.6);
      expect(Math.abs(found[2] - wanted[2]) / VOXEL).toBeLessThan(1.5);
    }
  });

  it('comes to the same in one thread and in two, and tells what went wrong in drawing for another', async () => {
    const chip = randomChip(1);
    const work = scanOf(chip, POSE, -1, 0.6, 2);
    const [one, two] = [
      await place(work, chip, REGION, REGION, 1),
      await place(work, chip, REGION, REGION, 2),
    ];
    expect(two.evidence).toEqual(one.evidence);
    expect(two.best!.workToDie).toEqual(one.best!.workToDie);
    const improvers = openImprovers(2, async () => {});
    const broken = {
      ...{ pixelUm: 0.1, snapUm: null, snap: snapping(null, 0.1) },
      pictures: () => {
        throw new InputFault({ tag: 'truncated', file: 'a.oas', found: 'the end of the file' });
      },
    };
    const start = { hypothesis: { sign: 1 } as Hypothesis, start: mapOf(POSE) };
    await expect(
      improvers.improve(coarser(work, 1, 1), [start], broken, [{ reachUm: 1, deepUm: 0.3 }]),
    ).rejects.toThrow(InputFault);
    await improvers.close();
  });

  it('does not lock a copy of the true place that a wrong hint leads to', async () => {
    const chip = randomChip(1);
    // A second copy 26 um to the right.
    const twice = {
      ...chip,
      shapes: chip.shapes.map((s) => [...s, ...s.map(([a, b, c, d]) => [a + 26, b, c + 26, d] as const)]),
    };
    const work = scanOf(chip, POSE, 1, 0.6, 2);
    const region = [37.8, 10.3, 39.4, 11.9] as const;
    const result = await place(work, twice, region, [0, 0, 50, 24]);
    expect(result.verdict).toBe('ambiguous');
    expect(result.doubts.join(' ')).toMatch(/Another place fits nearly as well|outside or at the border/);
    const [x] = apply3(result.runnerUp!.workToDie, [(SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2, 14]);
    const [own] = apply3(result.best!.workToDie, [(SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2, 14]);
    expect(Math.abs(Math.abs(x - own) - 26)).toBeLessThan(0.3);
  });

  it('does not place a scan of another chip', async () => {
    const result = await place(scanOf(randomChip(1), POSE, 1, 0.7, 3), randomChip(4));
    expect(result.verdict).toBe('unplaced');
  });

  it('never locks where the drawing repeats', async () => {
    const chip = repeatedChip(5);
    const result = await place(scanOf(chip, POSE, 1, 0.5, 6), chip);
    expect(result.verdict).toBe('ambiguous');
    expect(result.doubts.join(' ')).toMatch(/Another place fits nearly as well/);
    // The cell is 0.8 um both ways, and both the doubt and the evidence say so.
    expect(result.doubts.join(' ')).toMatch(/repeats here every \(/);
    const steps = result.shown!.lattice_um!.map(([x, y]) => [Math.abs(x), Math.abs(y)]);
    expect(steps).toHaveLength(2);
    for (const [x, y] of steps) {
      expect(Math.max(x!, y!)).toBeCloseTo(0.8, 1);
      expect(Math.min(x!, y!)).toBeLessThan(0.05);
    }
  });
});

describe('settling', { timeout: 120_000 }, () => {
  it('lets go of a bending that the layers do not confirm, and keeps one that they show', async () => {
    const chip = randomChip(1);
    const field: Field = { x: POSE.x, y: POSE.y, half: 5 };
    // A voxel and a half at the border along x, as the square of y, and less of the cube of x.
    const bending = warpOf((u, v) => [-0.15 * v * v + 0.05 * u ** 3, 0.1 * u * v], field);
    const settled = (scan: WorkVolume) =>
      settle({
        ...{ work: scan, workToDie: mapOf(POSE), warp: bending, sign: 1, field, pause: async () => {} },
        drawing: exactDrawing(
          { layers: chip.layers, render: (layer, grid) => render(chip, layer, grid) },
          VOXEL,
          scan.slowUm,
        ),
        levelsUm: [0, ...HEIGHTS.flatMap(([bottom, thickness]) => [bottom, bottom + thickness])],
      });
    const flat = await settled(scanOf(chip, POSE, 1, 0.6, 2));
    expect(flat!.warp).toBeNull();
    const bent = await settled(scanOf(chip, POSE, 1, 0.6, 2, SIZE, bending));
    for (const [x, y] of [
      [9.5, 8],
      [12.6, 11.1],
      [15.5, 14],
    ] as const) {
      const [dx, dy] = displacementAt(bent!.warp!, x, y);
      const [wx, wy] = displacementAt(bending, x, y);
      expect(Math.hypot(dx - wx, dy - wy) / VOXEL).toBeLessThan(0.5);
    }
  });
});

describe('levelling and turning', () => {
  it('finds the tilt of the layers', () => {
    const chip = randomChip(7);
    const tilt = findTilt(
      scanOf(chip, { ...POSE, mirrored: false, topFirst: false, tilt: [0.02, -0.015] }, 1, 0.4, 8, WIDE),
    );
    // Layers keep z: k rises by -0.02 per column, and by +0.015 per row, which is down the picture.
    expect(tilt.alongX).toBeCloseTo(-0.02, 2);
    expect(tilt.alongY).toBeCloseTo(-0.015, 2);
  });

  it.each([-31, 3.3, 44])('finds a turn of %d degrees', (turnDeg) => {
    const pose = { ...POSE, turnDeg, mirrored: false, tilt: [0, 0] as const };
    const work = scanOf(randomChip(9), pose, 1, 0.7, 10, WIDE);
    const angle = findPlaneAngle(work);
    const off = (((angle.radians * 180) / Math.PI + turnDeg) % 90) as number;
    expect(Math.min(Math.abs(off), 90 - Math.abs(off))).toBeLessThan(0.3);
  });
});
