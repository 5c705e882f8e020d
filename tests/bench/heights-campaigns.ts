/** One simulated campaign for the benchmark of depth to stack: made, misplaced a little, measured, judged. */
import { readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { encodeGds } from '../../demo-volume/gds/encoder.ts';
import { USUAL } from '../../demo-volume/image/conditions.ts';
import { evaluate, type Term } from '../../demo-volume/image/distortion.ts';
import { imageLayout } from '../../demo-volume/image-layout.ts';
import { drawChip } from '../../demo-volume/layout/chip.ts';
import { openVolume } from '../../pipeline/formats/volume/registry.ts';
import type { VolumeSource } from '../../pipeline/formats/volume.ts';
import { layerDrawing } from '../../pipeline/stages/place/heights/layer-drawing.ts';
import { type MeasuredHeights, measureHeights } from '../../pipeline/stages/place/heights/measure-heights.ts';
import { planPlates } from '../../pipeline/stages/place/plan-plates.ts';
import { stackByTexture } from '../../pipeline/stages/place/texture/stack-by-texture.ts';
import { findFieldOfView } from '../../pipeline/stages/survey/field-of-view.ts';
import { loadCampaign } from '../../pipeline/stages/survey/load-campaign.ts';
import { loadLayout } from '../../pipeline/stages/survey/load-layout.ts';
import { volumeSpec } from '../../pipeline/stages/survey/volume-spec.ts';
import { type Affine3, apply3 } from '../../shared/affine.ts';
import type { Placement } from '../../shared/artefacts/placement.ts';
import type { Process } from '../../shared/artefacts/process.ts';
import { generator } from './harness.ts';

const ROOT = join(import.meta.dirname, '..', '..');
const DATA = join(ROOT, '..', 'shared', 'data');
const PROCESS = join(ROOT, 'tests', 'fixtures', 'process');

export interface Chip {
  readonly name: string;
  readonly layout: string;
  readonly process: string;
  readonly voxelNm: number;
  readonly sideUm: number;
  /** Where the middle of the window may lie. */
  readonly withinUm: readonly [number, number, number, number];
  readonly depthsUm: readonly (readonly [number, number])[];
}

interface TruthLayer {
  readonly name: string;
  readonly bottom_um: number;
  readonly top_um: number;
}

interface Truth {
  readonly voxel_to_die_um: Affine3;
  readonly layers: readonly TruthLayer[];
  readonly distortion: {
    readonly u_terms: Term[];
    readonly v_terms: Term[];
    readonly w_terms_um: Term[];
  } | null;
  readonly scan: { readonly order: string; readonly broken_slices: readonly { readonly slice: number }[] };
}

interface Miss {
  readonly name: string;
  readonly voxels: number;
  readonly deviations: number;
}

export interface Run {
  readonly chip: string;
  readonly words: string;
  /** Boundary errors in voxels, and in stated deviations. */
  readonly seen: readonly Miss[];
  readonly reckoned: readonly Miss[];
  readonly plates: { readonly right: number; readonly asked: number };
  readonly confident: { readonly right: number; readonly asked: number };
  readonly seconds: number;
  readonly none: boolean;
  readonly texture: TextureRun;
}

/** The same scan with the process table alone. */
export interface TextureRun {
  readonly plates: { readonly right: number; readonly named: number; readonly asked: number };
  readonly confident: { readonly right: number; readonly asked: number };
  /** Sure of the order of the slices, and right; sure and wrong; not sure. */
  readonly order: 'right' | 'wrong' | 'open';
  readonly seconds: number;
}

export function chips(folder: string): Chip[] {
  const demo = join(folder, 'tgl7.gds');
  writeFileSync(demo, encodeGds(drawChip(7).library));
  const real = (name: string) => join(DATA, name);
  const table = (name: string) => join(PROCESS, name);
  return [
    {
      ...{
        name: 'demo',
        layout: demo,
        process: join(ROOT, 'demo-volume', 'process.yaml'),
        voxelNm: 40,
        sideUm: 10,
      },
      ...{
        withinUm: [9, 9, 23, 18],
        depthsUm: [
          [0, 6.6],
          [0, 4],
          [1.5, 6],
        ],
      },
    },
    {
      ...{ name: 'sg13g2 board', layout: real('sg13g2_counter_board.gds'), process: table('sg13g2.yaml') },
      ...{
        voxelNm: 40,
        sideUm: 9,
        withinUm: [30, 30, 70, 70],
        depthsUm: [
          [-0.2, 6.2],
          [0.8, 5],
        ],
      },
    },
    {
      ...{ name: 'gf180 block', layout: real('gf180_w_io.gds'), process: table('gf180mcu.yaml') },
      ...{
        voxelNm: 50,
        sideUm: 11,
        withinUm: [40, 60, 100, 200],
        depthsUm: [
          [-0.2, 5.2],
          [1, 4],
        ],
      },
    },
    {
      ...{ name: 'sg13g2 sram', layout: real('sg13g2_sram_256x8.gds'), process: table('sg13g2.yaml') },
      ...{ voxelNm: 40, sideUm: 9, withinUm: [30, 20, 200, 55], depthsUm: [[-0.2, 4.4]] },
    },
  ];
}

const pick = <T>(list: readonly T[], random: () => number): T => list[Math.floor(random() * list.length)]!;
const between = (low: number, high: number, random: () => number) => low + (high - low) * random();

export async function run(chip: Chip, seed: number, folder: string): Promise<Run> {
  const random = generator(seed * 7919 + chip.name.length);
  const [x0, y0, x1, y1] = chip.withinUm;
  const [cx, cy] = [between(x0, x1, random), between(y0, y1, random)];
  const half = chip.sideUm / 2;
  const cnr = pick([1.5, 2.5, 4, 10], random);
  const bow = pick([0, 0, 0.12], random);
  const warp = pick([0, 0, 3], random);
  const conditions = {
    ...USUAL,
    ...{ bright: pick(['dense', 'light'] as const, random), warpVoxels: warp, bowUm: bow },
    ...{ jitterVoxels: pick([0, 0.5], random), brokenShare: pick([0, 0.05], random) },
    ...{ thicknessSd: 0.05, drift: pick([0.1, 0.4], random) },
  };
  const out = join(folder, 'campaign');
  rmSync(out, { recursive: true, force: true });
  const scaleDepth = between(0.95, 1.05, random);
  await imageLayout({
    ...{ layout: chip.layout, process: chip.process, out, voxelNm: chip.voxelNm, seed, cnr, conditions },
    windowUm: [cx - half, cy - half, cx + half, cy + half],
    depthUm: pick(chip.depthsUm, random),
    ...{ rotationDeg: between(-180, 180, random), tiltDeg: between(0, 1.5, random) },
    ...{ tiltTowardsDeg: between(0, 360, random), scalePlane: between(0.975, 1.025, random), scaleDepth },
    ...{ order: pick(['top-first', 'bottom-first'] as const, random), mirrored: random() < 0.5 },
    ...{ circular: random() < 0.5, fill: true, faults: true, placement: false },
  });
  const truth: Truth = JSON.parse(readFileSync(join(out, 'truth.json'), 'utf8'));
  const loaded = await loadCampaign(join(out, 'campaign.yaml'), false);
  const layout = await loadLayout(loaded);
  if (!layout || !loaded.process) throw new Error('the campaign lacks its layout');
  const source = await openVolume(await volumeSpec(loaded.folder, loaded.campaign.scans[0]!, false), {
    nameOf: (file) => file,
  });
  try {
    const { nx, ny, nz } = source.shape;
    const field = await findFieldOfView(source);
    const middle = [(nx - 1) / 2, (ny - 1) / 2, (nz - 1) / 2] as const;
    const wrong = {
      ...{ scale: between(0.95, 1.05, random), lift: between(-0.05, 0.05, random) },
      ...{ x: between(-0.3, 0.3, random), y: between(-0.3, 0.3, random) },
    };
    const map = misplaced(truth.voxel_to_die_um, middle, wrong, chip.voxelNm / 1000);
    const plan = planPlates(map, field.box, nz);
    const started = performance.now();
    const measured = await measureHeights({
      sliceUm: null,
      scan: {
        ...{ nx, ny, nz, mask: field.mask, slice: (k) => source.read({ k: [k, k + 1] }) },
        brokenSlices: truth.scan.broken_slices.map((b) => b.slice),
      },
      placement: { voxel_to_die_um: map, warp: warpOf(truth, map, [nx, ny, nz], plan.grid) },
      ...{ plan, process: loaded.process, drawing: layerDrawing(layout.layout, layout.top) },
    });
    const seconds = (performance.now() - started) / 1000;
    const words =
      `seed ${seed} cnr ${cnr} scale ${wrong.scale.toFixed(3)} bow ${bow}${measured?.bowedWarp ? ' found' : ''} held ${measured?.held.toFixed(0) ?? '-'} ` +
      `warp ${warp} jitter ${conditions.jitterVoxels} broken ${conditions.brokenShare}`;
    const bowed = meanBow(truth, [nx, ny, nz], field.mask);
    const texture = await byTexture(source, field.mask, loaded.process, truth, chip.voxelNm / 1000, bowed);
    return { ...judge(chip.name, words, seconds, measured, truth, map, middle, plan.zUm, bowed), texture };
  } finally {
    await source.close();
  }
}

/** The true map with the faults that a rigid fit with the nominal stack leaves. */
function misplaced(
  map: Affine3,
  middle: readonly [number, number, number],
  wrong: { scale: number; lift: number; x: number; y: number },
  voxelUm: number,
): Placement['voxel_to_die_um'] {
  const centre = apply3(map, middle);
  const shift = [wrong.x * voxelUm, wrong.y * voxelUm, wrong.lift];
  return map.map((row, axis) => {
    const [a, b, c] = axis === 2 ? [row[0] * wrong.scale, row[1] * wrong.scale, row[2] * wrong.scale] : row;
    return [a, b, c, centre[axis]! - a * middle[0] - b * middle[1] - c * middle[2] + shift[axis]!];
  }) as unknown as Placement['voxel_to_die_um'];
}

/** The warp in the plane as a placement would state it; the bow is left for the measuring to find. */
function warpOf(
  truth: Truth,
  map: Affine3,
  shape: readonly [number, number, number],
  grid: { origin_um: readonly [number, number]; pixel_um: number; width_px: number; height_px: number },
): Placement['warp'] {
  const bend = truth.distortion;
  if (!bend || bend.u_terms.length === 0) return null;
  const [[a, b], [d, e]] = map;
  const det = a * e - b * d;
  const knots = 12;
  const wide = (grid.width_px - 1) * grid.pixel_um;
  const high = (grid.height_px - 1) * grid.pixel_um;
  const step = Math.max(wide, high) / (knots - 1);
  const [rows, columns] = [Math.ceil(high / step) + 1, Math.ceil(wide / step) + 1];
  const origin: [number, number] = [grid.origin_um[0], grid.origin_um[1] - high];
  const dx: number[] = [];
  const dy: number[] = [];
  const k = (shape[2] - 1) / 2;
  for (let r = 0; r < rows; r++)
    for (let c = 0; c < columns; c++) {
      const x = origin[0] + c * step - map[0][3] - map[0][2] * k;
      const y = origin[1] + r * step - map[1][3] - map[1][2] * k;
      const i = (e * x - b * y) / det;
      const j = (a * y - d * x) / det;
      const u = evaluate(bend.u_terms, shape, i, j);
      const v = evaluate(bend.v_terms, shape, i, j);
      dx.push(a * u + b * v);
      dy.push(d * u + e * v);
    }
  return {
    origin_um: origin,
    step_um: step,
    shape: [rows, columns],
    dx_um: dx,
    dy_um: dy,
    dz_um: dx.map(() => 0),
  };
}

/** Heights are those of the whole field: a bow counts with its mean over it. */
function meanBow(truth: Truth, shape: readonly [number, number, number], mask: Uint8Array | null): number {
  const terms = truth.distortion?.w_terms_um ?? [];
  let [sum, count] = [0, 0];
  for (let j = 0; j < shape[1]; j += 3)
    for (let i = 0; i < shape[0]; i += 3) {
      if (mask && !mask[j * shape[0] + i]) continue;
      sum += evaluate(terms, shape, i, j);
      count++;
    }
  return sum / count;
}

function judge(
  chip: string,
  words: string,
  seconds: number,
  measured: MeasuredHeights | null,
  truth: Truth,
  map: Affine3,
  middle: readonly [number, number, number],
  zUm: readonly number[],
  bowedUm: number,
): Omit<Run, 'texture'> {
  const empty = { chip, words, seconds, seen: [], reckoned: [] };
  if (!measured)
    return { ...empty, plates: { right: 0, asked: 0 }, confident: { right: 0, asked: 0 }, none: true };
  // Heights become slices at the middle of the field, where no error of the placement's depth scale counts.
  const slice = (m: Affine3, z: number) => middle[2] + (z - apply3(m, middle)[2]) / m[2][2];
  const seen: Miss[] = [];
  const reckoned: Miss[] = [];
  const nz = 2 * middle[2] + 1;
  const step = Math.abs(map[2][2]);
  measured.layers.layers.forEach((layer, n) => {
    const true_ = truth.layers[n]!;
    for (const [face, found, is, sd] of [
      ['bottom', layer.bottom_um, true_.bottom_um, layer.bottom_sd_um ?? layer.sd_um],
      ['top', layer.top_um, true_.top_um, layer.top_sd_um ?? layer.sd_um],
    ] as const) {
      const at = slice(truth.voxel_to_die_um, is - bowedUm);
      if (at < 0 || at > nz - 1) continue;
      const off = slice(map, found) - at;
      const entry = {
        name: `${layer.name} ${face}`,
        voxels: Math.abs(off),
        deviations: Math.abs(off) / (sd / step),
      };
      (layer.heights_from === 'image' ? seen : reckoned).push(entry);
    }
  });
  let [right, asked, sureRight, sureAsked] = [0, 0, 0, 0];
  zUm.forEach((z, index) => {
    const k = slice(map, z);
    const high = apply3(truth.voxel_to_die_um, [middle[0], middle[1], k])[2] + bowedUm;
    const reach = Math.abs(truth.voxel_to_die_um[2][2]) / 2;
    if (truth.layers.some((l) => Math.abs(l.bottom_um - high) < reach || Math.abs(l.top_um - high) < reach))
      return;
    const inside = truth.layers.filter((l) => l.bottom_um < high && l.top_um > high).map((l) => l.name);
    const plate = measured.layers.plates[index]!;
    const good = plate.layer === null ? inside.length === 0 : inside.includes(plate.layer);
    asked++;
    if (good) right++;
    if (plate.confidence < 0.9) return;
    sureAsked++;
    if (good) sureRight++;
  });
  const plates = { right, asked };
  return { ...empty, seen, reckoned, plates, confident: { right: sureRight, asked: sureAsked }, none: false };
}

async function byTexture(
  source: VolumeSource,
  mask: Uint8Array | null,
  process: Process,
  truth: Truth,
  voxelUm: number,
  bowedUm: number,
): Promise<TextureRun> {
  const started = performance.now();
  const { nx, ny, nz } = source.shape;
  const scan = { nx, ny, nz, mask, slice: (k: number) => source.read({ k: [k, k + 1] }) };
  const brokenSlices = truth.scan.broken_slices.map((b) => b.slice);
  const stack = await stackByTexture({ ...scan, brokenSlices }, process, voxelUm, voxelUm, 'auto');
  const seconds = (performance.now() - started) / 1000;
  const plates = { right: 0, named: 0, asked: 0 };
  const confident = { right: 0, asked: 0 };
  if (!stack) return { plates, confident, order: 'open', seconds };
  const map = truth.voxel_to_die_um;
  for (let k = 0; k < nz; k++) {
    const high = apply3(map, [(nx - 1) / 2, (ny - 1) / 2, k])[2] + bowedUm;
    const reach = Math.abs(map[2][2]) / 2;
    if (truth.layers.some((l) => Math.abs(l.bottom_um - high) < reach || Math.abs(l.top_um - high) < reach))
      continue;
    const inside = truth.layers.filter((l) => l.bottom_um < high && l.top_um > high).map((l) => l.name);
    const odds = stack.at.map((list) => list[k]!);
    const best = odds.indexOf(Math.max(...odds));
    plates.asked++;
    if (odds[best]! <= 0.5) continue;
    plates.named++;
    const right = inside.includes(process.layers[best]!.name);
    if (right) plates.right++;
    if (odds[best]! < 0.9) continue;
    confident.asked++;
    if (right) confident.right++;
  }
  const sure = Math.max(stack.topFirst, 1 - stack.topFirst) >= 0.95;
  const good = stack.topFirst >= 0.5 === (truth.scan.order === 'top-first');
  return { plates, confident, order: sure ? (good ? 'right' : 'wrong') : 'open', seconds };
}
