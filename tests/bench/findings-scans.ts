/** Simulated scans for the benchmark of findings: a window of a drawing, made with faults and fill, imaged, placed. */
import { existsSync, mkdirSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { FaultKind } from '../../demo-volume/faults.ts';
import { encodeGds } from '../../demo-volume/gds/encoder.ts';
import { generate } from '../../demo-volume/generate.ts';
import { type ConditionOptions, USUAL } from '../../demo-volume/image/conditions.ts';
import { imageLayout } from '../../demo-volume/image-layout.ts';
import { drawChip } from '../../demo-volume/layout/chip.ts';
import { openVolume } from '../../pipeline/formats/volume/registry.ts';
import type { VoxelArray } from '../../pipeline/formats/volume.ts';
import { resamplePlate } from '../../pipeline/kernels/resample.ts';
import type { Progress } from '../../pipeline/output/progress.ts';
import type { PortraitImage } from '../../pipeline/stages/compare/compare-layers.ts';
import { findPlace, withMeasuredHeights } from '../../pipeline/stages/place/find-place.ts';
import { measureScanHeights } from '../../pipeline/stages/place/heights/measure-scan.ts';
import { labelPlates } from '../../pipeline/stages/place/label-plates.ts';
import { placeScan } from '../../pipeline/stages/place/place-scan.ts';
import { planPlates } from '../../pipeline/stages/place/plan-plates.ts';
import { portraitRanges } from '../../pipeline/stages/plate/portrait-ranges.ts';
import { type LoadedCampaign, loadCampaign } from '../../pipeline/stages/survey/load-campaign.ts';
import { type LoadedLayout, loadLayout } from '../../pipeline/stages/survey/load-layout.ts';
import { surveyScan } from '../../pipeline/stages/survey/survey-scan.ts';
import { invert3 } from '../../shared/affine.ts';
import type { Layers } from '../../shared/artefacts/layers.ts';
import type { Placement } from '../../shared/artefacts/placement.ts';
import type { PlateGrid } from '../../shared/frames.ts';
import { generator } from './harness.ts';

const ROOT = join(import.meta.dirname, '..', '..');
export const DATA = join(ROOT, '..', 'shared', 'data');
const PROCESS = join(ROOT, 'tests', 'fixtures', 'process');
const quiet = { bar: () => ({ advance() {}, finish() {} }), line() {}, doubt() {} } as unknown as Progress;

interface Chip {
  readonly layout: string;
  readonly process: string;
  /** Five voxels to the narrowest metal. */
  readonly voxelNm: number;
  /** Where the middle of the window may lie. */
  readonly withinUm: readonly [number, number, number, number];
}

export const CHIPS: Record<string, Chip> = {
  demo: {
    layout: '',
    process: join(ROOT, 'demo-volume', 'process.yaml'),
    ...{ voxelNm: 40, withinUm: [9, 9, 23, 18] },
  },
  /** The demo campaign as it is. */
  tgl7: { layout: '', process: '', voxelNm: 40, withinUm: [0, 0, 0, 0] },
  board: {
    layout: join(DATA, 'sg13g2_counter_board.gds'),
    process: join(PROCESS, 'sg13g2.yaml'),
    ...{ voxelNm: 32, withinUm: [30, 30, 70, 70] },
  },
  gf180: {
    layout: join(DATA, 'gf180_w_io.gds'),
    process: join(PROCESS, 'gf180mcu.yaml'),
    ...{ voxelNm: 45, withinUm: [40, 60, 100, 200] },
  },
  sram: {
    layout: join(DATA, 'sg13g2_sram_256x8.gds'),
    process: join(PROCESS, 'sg13g2.yaml'),
    ...{ voxelNm: 32, withinUm: [30, 20, 200, 55] },
  },
};

export interface Condition {
  readonly cnr: number;
  readonly tiltDeg?: number;
  readonly mirrored?: boolean;
  readonly circular?: boolean;
  readonly bottomFirst?: boolean;
  readonly noFill?: boolean;
  readonly faults?: boolean;
  readonly more?: Partial<ConditionOptions>;
}

export const CONDITIONS: Record<string, Condition> = {
  plain: { cnr: 3 },
  cnr5: { cnr: 5 },
  cnr2: { cnr: 2 },
  mirrored: { cnr: 3, mirrored: true, bottomFirst: true },
  circular: { cnr: 3, circular: true },
  inverted: { cnr: 3, more: { bright: 'light' } },
  tilted: { cnr: 3, tiltDeg: 1.4 },
  warped: { cnr: 3, more: { warpVoxels: 1 } },
  drifting: { cnr: 3, more: { drift: 0.5 } },
  jittering: { cnr: 3, more: { jitterVoxels: 0.4 } },
  unfilled: { cnr: 3, noFill: true },
  clean: { cnr: 3, faults: false },
};

/** More of every kind than a real chip has, so that a window tells something about rates. */
const FAULTS: readonly FaultKind[] = (['a', 'b'] as const).flatMap((): FaultKind[] => [
  ...(['missing-via', 'open', 'bridge', 'extra-shape', 'narrow', 'missing-shape', 'extra-via'] as const),
  ...(['wide', 'missing-via', 'open', 'bridge'] as const),
]);

export interface ScanCase {
  readonly chip: string;
  readonly condition: string;
  readonly seed: number;
  /** Side of the field in voxels. */
  readonly side: number;
  readonly placement: 'landmarks' | 'automatic';
}

export const caseName = (c: ScanCase): string =>
  [c.chip, c.condition, c.seed, c.side, ...(c.placement === 'automatic' ? ['auto'] : [])].join('-');

export interface Truth {
  readonly faults: readonly {
    readonly id: string;
    readonly kind: string;
    readonly layer: string;
    readonly box_um: [number, number, number, number];
  }[];
  readonly fill: readonly {
    readonly layer: string;
    readonly size_um: [number, number];
    readonly corners_in_field_um: readonly (readonly [number, number])[];
  }[];
  readonly layers: readonly {
    readonly name: string;
    readonly offset_um: [number, number];
    readonly bias_per_edge_um: number;
  }[];
}

export interface PreparedScan {
  readonly loaded: LoadedCampaign;
  readonly layout: LoadedLayout;
  readonly truth: Truth;
  readonly placement: Placement;
  readonly layers: Layers;
  readonly grid: PlateGrid;
  readonly portraits: readonly PortraitImage[];
}

/** @param keep folder where scans are kept from run to run */
export async function prepareScan(wanted: ScanCase, keep: string): Promise<PreparedScan> {
  const folder = join(keep, caseName(wanted));
  const campaign = join(keep, caseName({ ...wanted, placement: 'landmarks' }), 'campaign');
  if (!existsSync(join(campaign, 'truth.json'))) await image(wanted, campaign, keep);
  const loaded = await loadCampaign(campaign, false);
  const layout = (await loadLayout(loaded))!;
  const truth = JSON.parse(readFileSync(join(campaign, 'truth.json'), 'utf8')) as Truth;
  const file = join(folder, 'portraits.json');
  if (!existsSync(file)) await portray(wanted, loaded, layout, folder);
  const kept = JSON.parse(readFileSync(file, 'utf8')) as {
    placement: Placement;
    layers: Layers;
    grid: PlateGrid;
    names: string[];
  };
  const bytes = readFileSync(join(folder, 'portraits.bin'));
  const pixels = kept.grid.width_px * kept.grid.height_px;
  const all = new Float32Array(bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.byteLength));
  return {
    ...{ loaded, layout, truth, placement: kept.placement, layers: kept.layers, grid: kept.grid },
    portraits: kept.names.map((name, n) => ({
      name,
      values: all.subarray(n * pixels, (n + 1) * pixels),
    })),
  };
}

async function image(wanted: ScanCase, campaign: string, keep: string): Promise<void> {
  if (wanted.chip === 'tgl7') {
    await generate({ out: campaign, seed: wanted.seed, fast: false, circular: false, force: true });
    return;
  }
  const chip = CHIPS[wanted.chip]!;
  const condition = CONDITIONS[wanted.condition]!;
  const random = generator(7919 * wanted.seed + 13);
  const [x0, y0, x1, y1] = chip.withinUm;
  const half = (wanted.side * chip.voxelNm) / 2000;
  const [x, y] = [x0 + (x1 - x0) * random(), y0 + (y1 - y0) * random()];
  let layout = chip.layout;
  if (wanted.chip === 'demo') {
    mkdirSync(keep, { recursive: true });
    layout = join(keep, `tgl7-${wanted.seed}.gds`);
    writeFileSync(layout, encodeGds(drawChip(wanted.seed).library));
  }
  rmSync(campaign, { recursive: true, force: true });
  await imageLayout({
    ...{ layout, process: chip.process, windowUm: [x - half, y - half, x + half, y + half], out: campaign },
    ...{ voxelNm: chip.voxelNm, rotationDeg: 8 * random() - 4, tiltTowardsDeg: 360 * random() },
    tiltDeg: condition.tiltDeg ?? 0.4 * random(),
    ...{ scalePlane: 1 + 0.04 * (random() - 0.5), scaleDepth: 1 + 0.06 * (random() - 0.5) },
    ...{ seed: wanted.seed, cnr: condition.cnr, order: condition.bottomFirst ? 'bottom-first' : 'top-first' },
    ...{ mirrored: condition.mirrored ?? false, circular: condition.circular ?? false },
    ...{ fill: !condition.noFill, faults: condition.faults === false ? false : FAULTS, placement: true },
    conditions: { ...USUAL, ...condition.more },
  });
}

/** The stages up to the portraits, without pictures. */
async function portray(
  wanted: ScanCase,
  loaded: LoadedCampaign,
  layout: LoadedLayout,
  folder: string,
): Promise<void> {
  const written = loaded.campaign.scans[0]!;
  const { mirrored, bottomFirst } = CONDITIONS[wanted.condition]!;
  // Landmarks on one layer alone do not tell a scan from its mirror image, so that who sets them by hand says which it is.
  const scan: typeof written =
    wanted.placement === 'landmarks'
      ? {
          ...written,
          order: bottomFirst ? 'bottom-first' : 'top-first',
          seen_from: mirrored ? 'back' : 'front',
        }
      : written;
  const process = loaded.process!;
  const surveyed = await surveyScan(loaded.folder, scan, quiet);
  const { survey, field, spec } = surveyed;
  const text = readFileSync(join(loaded.folder, scan.placement!.landmarks), 'utf8');
  const byHand = placeScan(scan, survey, { name: 'landmarks.csv', text });
  let placement = byHand;
  if (wanted.placement === 'automatic') {
    const { placement: _, ...alone } = scan;
    const nowhere = placeScan(alone, survey, null);
    const disk = { campaignFolder: loaded.folder, scan: alone, survey, mask: field.mask, spec, process };
    const drawn = { layout: layout.layout, top: layout.top, layoutBoxUm: layout.boxUm!, threads: 1 };
    placement = (await findPlace({ ...disk, ...drawn }, nowhere, quiet)).placement;
  }
  const planned = planPlates(placement.voxel_to_die_um, field.box, survey.shape.nz);
  const measured =
    placement.source === 'none'
      ? null
      : await measureScanHeights({
          ...{ spec, campaignFolder: loaded.folder, brokenSlices: survey.broken_slices, mask: field.mask },
          ...{ placement, plan: planned, process, layout: layout.layout, top: layout.top },
          sliceUm: survey.voxel_nm.z / 1000,
        });
  placement = withMeasuredHeights(placement, measured);
  const plan = measured?.redepthed?.plan ?? planned;
  const layers = measured?.layers ?? labelPlates(process, placement, plan);
  const dieToVoxel = invert3(placement.voxel_to_die_um);
  const volume = await openVolume(spec, { nameOf: (file) => file });
  const slices: VoxelArray[] = [];
  for (let k = 0; k < volume.shape.nz; k++) slices.push(await volume.read({ k: [k, k + 1] }));
  await volume.close();
  const source = { ...volume.shape, slice: (k: number) => slices[k]!, mask: field.mask };
  const pixels = plan.grid.width_px * plan.grid.height_px;
  const plate = new Float32Array(pixels);
  const ranges = portraitRanges(layers);
  const all = new Float32Array(pixels * ranges.length);
  ranges.forEach((range, n) => {
    const values = all.subarray(n * pixels, (n + 1) * pixels);
    const count = range.last - range.first + 1;
    for (let z = range.first; z <= range.last; z++) {
      resamplePlate(source, dieToVoxel, plan.grid, plan.zUm[z]!, plate, placement.warp);
      for (let p = 0; p < pixels; p++) values[p]! += plate[p]! / count;
    }
  });
  mkdirSync(folder, { recursive: true });
  writeFileSync(join(folder, 'portraits.bin'), Buffer.from(all.buffer));
  const names = ranges.map((range) => range.name);
  const kept = { placement, layers, grid: plan.grid, names };
  writeFileSync(join(folder, 'portraits.json.part'), JSON.stringify(kept));
  renameSync(join(folder, 'portraits.json.part'), join(folder, 'portraits.json'));
}
