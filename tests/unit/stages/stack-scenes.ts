/**
 * Small scans of invented stacks for the tests of depth to stack: boxes of material, blurred a little, tilted, noisy.
 * Nothing here knows how the measuring works.
 */
import { renderCoverage } from '../../../pipeline/kernels/coverage.ts';
import type { ScanSlices } from '../../../pipeline/stages/place/heights/levelled-plates.ts';
import { type PlatePlan, planPlates } from '../../../pipeline/stages/place/plan-plates.ts';
import { type Process, type ProcessLayer, processSchema } from '../../../shared/artefacts/process.ts';
import type { PlateGrid } from '../../../shared/frames.ts';
import { generator } from '../../fixtures/random.ts';

export type Matrix = [
  [number, number, number, number],
  [number, number, number, number],
  [number, number, number, number],
];

export const VOXEL_UM = 0.05;

export function stackOf(
  rows: readonly (readonly [name: string, role: ProcessLayer['role'], bottom: number, thickness: number])[],
): Process {
  return processSchema.parse({
    name: 'invented',
    layers: rows.map(([name, role, bottom_um, thickness_um]) => ({ name, role, bottom_um, thickness_um })),
  });
}

export const FIVE = stackOf([
  ['metal1', 'conductor', 0.3, 0.4],
  ['via1', 'via', 0.7, 0.5],
  ['metal2', 'conductor', 1.2, 0.5],
  ['via2', 'via', 1.7, 0.5],
  ['metal3', 'conductor', 2.2, 0.8],
]);

/** Wires along x or y in turn, vias as squares; all from the seed. */
export function drawingsOf(process: Process, sideUm: number, seed: number): Map<string, Float64Array[]> {
  const random = generator(seed);
  let wires = 0;
  return new Map(
    process.layers.map((layer) => {
      const shapes: Float64Array[] = [];
      const box = (x: number, y: number, w: number, h: number): void => {
        shapes.push(Float64Array.of(x, y, x + w, y, x + w, y + h, x, y + h));
      };
      if (layer.role === 'via')
        for (let n = 0; n < 45; n++) box(random() * sideUm, random() * sideUm, 0.2, 0.2);
      else {
        const along = wires++ % 2 === 0;
        for (let track = 0.2 * random(); track < sideUm; track += 0.35 + 0.3 * random()) {
          let at = random();
          while (at < sideUm) {
            const length = 0.5 + 2 * random();
            if (along) box(at, track, length, 0.2);
            else box(track, at, 0.2, length);
            at += length + 0.3 + random();
          }
        }
      }
      return [layer.name, shapes] as const;
    }),
  );
}

export interface SceneOptions {
  readonly seed: number;
  readonly process?: Process;
  readonly drawings?: ReadonlyMap<string, readonly Float64Array[]>;
  /** Contrast of a conductor over the noise of a voxel; a via is twice as strong. */
  readonly cnr?: number;
  readonly sign?: number;
  readonly thicknessSd?: number;
  readonly tilt?: readonly [number, number];
  /** Rise in the middle of the field against its rim, micrometres. */
  readonly bowUm?: number;
  /** Lowest height of the scan, and its slices. */
  readonly fromUm?: number;
  readonly nz?: number;
  readonly topFirst?: boolean;
  readonly side?: number;
}

export interface Scene {
  readonly scan: ScanSlices;
  readonly map: Matrix;
  readonly plan: PlatePlan;
  readonly process: Process;
  readonly faces: ReadonlyMap<string, readonly [number, number]>;
  readonly drawing: (layer: ProcessLayer, grid: PlateGrid) => Float32Array;
}

export function scene(options: SceneOptions): Scene {
  const process = options.process ?? FIVE;
  const { seed, cnr = 4, sign = 1, tilt = [0, 0], bowUm = 0, fromUm = -0.1, nz = 68, side = 120 } = options;
  const random = generator(seed + 5000);
  const normal = (): number => Math.sqrt(-2 * Math.log(1 - random())) * Math.cos(2 * Math.PI * random());
  const drawings = options.drawings ?? drawingsOf(process, side * VOXEL_UM, seed);
  const marks = [
    ...new Set(process.layers.flatMap((l) => [l.bottom_um, round(l.bottom_um + l.thickness_um)])),
  ].sort((a, b) => a - b);
  const made = new Map([[marks[0]!, marks[0]!]]);
  for (let n = 1; n < marks.length; n++) {
    const off = Math.max(-2, Math.min(2, normal())) * (options.thicknessSd ?? 0.05);
    made.set(marks[n]!, made.get(marks[n - 1]!)! + (marks[n]! - marks[n - 1]!) * (1 + off));
  }
  const faces = new Map(
    process.layers.map((l) => [
      l.name,
      [made.get(l.bottom_um)!, made.get(round(l.bottom_um + l.thickness_um))!],
    ]),
  ) as Map<string, [number, number]>;
  const grid: PlateGrid = {
    origin_um: [0, (side - 1) * VOXEL_UM],
    ...{ pixel_um: VOXEL_UM, width_px: side, height_px: side },
  };
  const covers = process.layers.map((l) => renderCoverage(drawings.get(l.name) ?? [], grid));
  const upward: Float32Array[] = Array.from({ length: nz }, () => new Float32Array(side * side));
  const middle = (side - 1) / 2;
  for (let j = 0; j < side; j++)
    for (let i = 0; i < side; i++) {
      const at = j * side + i;
      const [p, q] = [i / middle - 1, j / middle - 1];
      const lift = tilt[0] * (i - middle) + tilt[1] * (j - middle);
      const bow = bowUm * (1 - (p * p + q * q) / 2);
      const column = new Float64Array(nz);
      process.layers.forEach((layer, l) => {
        const cover = covers[l]![at]!;
        if (cover === 0) return;
        const [bottom, top] = faces.get(layer.name)!;
        for (let k = 0; k < nz; k++) {
          const z = fromUm + k * VOXEL_UM + lift - bow;
          const inside = Math.min(z + VOXEL_UM / 2, top) - Math.max(z - VOXEL_UM / 2, bottom);
          if (inside > 0) column[k]! += ((layer.role === 'via' ? 2 : 1) * cover * inside) / VOXEL_UM;
        }
      });
      // One, two, one, twice over: a blur of one voxel.
      for (let pass = 0; pass < 2; pass++) {
        let before = column[0]!;
        for (let k = 0; k < nz; k++) {
          const here = column[k]!;
          column[k] = (before + 2 * here + (column[k + 1] ?? here)) / 4;
          before = here;
        }
      }
      for (let k = 0; k < nz; k++) upward[k]![at] = 1000 + sign * 100 * column[k]! + (100 / cnr) * normal();
    }
  const slices = options.topFirst ? [...upward].reverse() : upward;
  const zk = options.topFirst ? -VOXEL_UM : VOXEL_UM;
  const z0 = (options.topFirst ? fromUm + (nz - 1) * VOXEL_UM : fromUm) - (tilt[0] + tilt[1]) * middle;
  const map: Matrix = [
    [VOXEL_UM, 0, 0, 0],
    [0, -VOXEL_UM, 0, (side - 1) * VOXEL_UM],
    [tilt[0], tilt[1], zk, z0],
  ];
  return {
    scan: { nx: side, ny: side, nz, mask: null, brokenSlices: [], slice: (k) => slices[k]! },
    plan: planPlates(map, [0, 0, side, side], nz),
    drawing: (layer, on) => renderCoverage(drawings.get(layer.name) ?? [], on),
    ...{ map, process, faces },
  };
}

const round = (v: number): number => Math.round(v * 1e6) / 1e6;
