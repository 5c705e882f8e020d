/**
 * Images a window of any GDSII layout with the physics of the demo and writes a campaign of it.
 * node demo-volume/image-layout.ts --layout FILE.gds --process FILE.yaml --window X0,Y0,X1,Y1 --out FOLDER
 *   [--top NAME] [--depth Z0,Z1] [--voxel-nm 40] [--rotation-deg 2.3] [--tilt-deg 0.4] [--tilt-towards-deg 60]
 *   [--scale-plane 1.012] [--scale-depth 0.98] [--seed 1] [--cnr 4] [--order top-first|bottom-first] [--mirror]
 *   [--circular] [--no-fill] [--no-faults] [--no-placement] [--title TEXT]
 *   [--bright dense|light] [--broken-share 0] [--jitter-voxels 0] [--warp-voxels 0] [--bow-um 0] [--thickness-sd SHARE]
 *   [--drift 0.18] [--outside zero|constant|nan]
 */
import { readFileSync } from 'node:fs';
import { basename, dirname, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { parseArgs } from 'node:util';
import { stringify } from 'yaml';
import { degrees, nm, umFromNm } from '../shared/units.ts';
import { stageCampaign } from './campaign-folder.ts';
import { type CampaignReport, writeCampaign } from './campaign-run.ts';
import { reportAndExit, UsageFault } from './command.ts';
import { CONDITION_TEXTS, conditionsFrom } from './condition-options.ts';
import type { FaultKind } from './faults.ts';
import { decodeGds } from './gds/decoder.ts';
import type { ConditionOptions } from './image/conditions.ts';
import type { ScanPose } from './image/scan-frame.ts';
import { DemoFault } from './input-fault.ts';
import { type Box, chooseTop, type FlatLayout, flatten } from './layout/flatten.ts';
import { readStack, type Stack, trimStack } from './process-stack.ts';
import { generatorStamp } from './truth.ts';

const HERE = dirname(fileURLToPath(import.meta.url));
/** Shapes this far outside the window are drawn too: the turned scan and its margins look there. */
const SURROUND_UM = 6;
/** Oxide above and below the stack that the scan takes in. */
const HEADROOM_UM = 0.2;
const MAX_VOXELS = 400e6;

export interface ImageLayoutOptions {
  readonly layout: string;
  readonly process: string;
  readonly windowUm: Box;
  readonly out: string;
  readonly top?: string;
  readonly depthUm?: readonly [number, number];
  readonly voxelNm: number;
  readonly rotationDeg: number;
  readonly tiltDeg: number;
  readonly tiltTowardsDeg: number;
  readonly scalePlane: number;
  readonly scaleDepth: number;
  readonly seed: number;
  readonly cnr: number;
  readonly order: 'top-first' | 'bottom-first';
  readonly mirrored: boolean;
  readonly circular: boolean;
  readonly fill: boolean;
  /** The usual ones or none; or which, in their order. */
  readonly faults: boolean | readonly FaultKind[];
  readonly placement: boolean;
  readonly title?: string;
  readonly conditions?: ConditionOptions;
}

function readBytes(file: string): Uint8Array {
  try {
    return readFileSync(file);
  } catch {
    throw new DemoFault({ file, expected: 'a GDSII file', found: 'no readable file' });
  }
}

/** Lowest bottom and highest top of the layers that have shapes in the window. */
function depthOf(stack: Stack, flat: FlatLayout): [number, number] {
  const used = stack.layers.filter((l) => [...l.drawn, ...l.fill].some((p) => flat.rings.has(p)));
  const bottoms = used.map((l) => l.bottomUm);
  const tops = used.map((l) => l.bottomUm + l.thicknessUm);
  return [Math.min(...bottoms) - HEADROOM_UM, Math.max(...tops) + HEADROOM_UM];
}

function poseOf(options: ImageLayoutOptions, depth: readonly [number, number]): ScanPose {
  const [x0, y0, x1, y1] = options.windowUm;
  const voxel = umFromNm(nm(options.voxelNm));
  const plane = voxel * options.scalePlane;
  const deep = voxel * options.scaleDepth;
  // Tilt and bow lift parts of the field; the volume is made deep enough for both.
  const lean =
    Math.sin((options.tiltDeg * Math.PI) / 180) * Math.hypot(x1 - x0, y1 - y0) +
    2 * (options.conditions?.bowUm ?? 0);
  const count = (length: number, step: number): number => Math.max(8, Math.round(length / step));
  const shape = [
    count(x1 - x0, plane),
    count(y1 - y0, plane),
    count(depth[1] - depth[0] + lean, deep),
  ] as const;
  const voxels = shape[0] * shape[1] * shape[2];
  if (voxels > MAX_VOXELS)
    throw new DemoFault({
      file: options.layout,
      place: 'window',
      expected: `at most ${MAX_VOXELS / 1e6} million voxels`,
      found: `${Math.round(voxels / 1e6)} million`,
      remedy: 'take a smaller window or a larger voxel',
    });
  return {
    shape,
    voxelUm: [plane, plane, deep],
    centreUm: [(x0 + x1) / 2, (y0 + y1) / 2, (depth[0] + depth[1]) / 2],
    rotationDeg: degrees(options.rotationDeg),
    tiltDeg: degrees(options.tiltDeg),
    tiltTowardsDeg: degrees(options.tiltTowardsDeg),
    order: options.order,
    mirrored: options.mirrored,
  };
}

function campaignText(options: ImageLayoutOptions, top: string, pose: ScanPose): string {
  const near = [pose.centreUm[0], pose.centreUm[1]].map((v) => Math.round(v * 10) / 10);
  return stringify({
    stratafolio: 1,
    title: options.title ?? `Imaged window of ${top}`,
    summary: 'A simulated scan: a window of a drawn layout, imaged with the physics of the demo generator.',
    creators: [{ name: 'A. Example' }],
    year: 2026,
    licence: 'CC-BY-4.0',
    chip: { name: top, process: 'process.yaml', layout: { file: `layout/${basename(options.layout)}`, top } },
    scans: [
      {
        id: 'fine',
        title: 'Simulated scan',
        volume: { files: 'slices/fine/*.tif' },
        voxel_nm: options.voxelNm,
        near_um: near,
        within_um: 5,
        ...(options.placement ? { placement: { landmarks: 'landmarks.csv' } } : {}),
        acquisition: { technique: 'simulated X-ray laminography', laminography_deg: 61 },
      },
    ],
  });
}

/** Writes the campaign of one window. @throws DemoFault for wrong input, UsageFault for a wrong option. */
export async function imageLayout(options: ImageLayoutOptions): Promise<CampaignReport> {
  const [x0, y0, x1, y1] = options.windowUm;
  if (!(x1 > x0 && y1 > y0)) throw new UsageFault('--window must be X0,Y0,X1,Y1 with X1 > X0 and Y1 > Y0');
  const bytes = readBytes(options.layout);
  const library = decodeGds(bytes, options.layout);
  const top = chooseTop(library, options.layout, options.top);
  const trimmed = trimStack(options.process, library);
  const stack = readStack(options.process, trimmed.text);
  const wanted = new Set(stack.layers.flatMap((l) => [...l.drawn, ...l.fill]));
  const view: Box = [x0 - SURROUND_UM, y0 - SURROUND_UM, x1 + SURROUND_UM, y1 + SURROUND_UM];
  const flat = flatten(library, top, options.layout, wanted, view);
  if (flat.rings.size === 0)
    throw new DemoFault({
      file: options.layout,
      place: `window ${options.windowUm.join(', ')}`,
      expected: 'shapes of the process layers',
      found: 'none',
    });
  const pose = poseOf(options, options.depthUm ?? depthOf(stack, flat));
  const staging = stageCampaign(options.out);
  try {
    staging.write(`layout/${basename(options.layout)}`, bytes);
    staging.write('process.yaml', trimmed.text);
    staging.write('campaign.yaml', campaignText(options, top, pose));
    // The stamp holds no machine paths.
    const { out: _, ...rest } = options;
    const kept = { ...rest, layout: basename(options.layout), process: basename(options.process) };
    const report = await writeCampaign(
      {
        ...{ stamp: generatorStamp(HERE, options.seed, JSON.stringify(kept)), chip: top, stack, flat, pose },
        ...{ statedNm: options.voxelNm, region: view, fill: options.fill, faults: options.faults },
        ...{ cnr: options.cnr, circular: options.circular },
        ...(options.conditions ? { conditions: options.conditions } : {}),
      },
      staging,
    );
    staging.publish();
    for (const name of trimmed.dropped) console.log(`${name}: not in this layout, left out of process.yaml`);
    return report;
  } catch (error) {
    staging.discard();
    throw error;
  }
}

function numbers(text: string, name: string, count: number): number[] {
  const values = text.split(',').map((part) => (part.trim() === '' ? Number.NaN : Number(part)));
  if (values.length !== count || values.some((v) => !Number.isFinite(v)))
    throw new UsageFault(
      `--${name} must be ${count} number${count > 1 ? 's with commas between' : ''}, not ${text}`,
    );
  return values;
}

async function main(): Promise<void> {
  const text = { type: 'string' } as const;
  const flag = { type: 'boolean', default: false } as const;
  const { values } = parseArgs({
    options: {
      ...{ layout: text, process: text, window: text, out: text, top: text, depth: text, title: text },
      'voxel-nm': { type: 'string', default: '40' },
      'rotation-deg': { type: 'string', default: '2.3' },
      'tilt-deg': { type: 'string', default: '0.4' },
      'tilt-towards-deg': { type: 'string', default: '60' },
      'scale-plane': { type: 'string', default: '1.012' },
      'scale-depth': { type: 'string', default: '0.98' },
      seed: { type: 'string', default: '1' },
      cnr: { type: 'string', default: '4' },
      order: { type: 'string', default: 'top-first' },
      ...CONDITION_TEXTS,
      ...{ mirror: flag, circular: flag, 'no-fill': flag, 'no-faults': flag, 'no-placement': flag },
    },
  });
  const needed = (name: 'layout' | 'process' | 'window' | 'out'): string => {
    const value = values[name];
    if (value === undefined) throw new UsageFault(`--${name} is needed`);
    return value;
  };
  const positive = (name: 'voxel-nm' | 'scale-plane' | 'scale-depth' | 'cnr'): number => {
    const [value] = numbers(values[name], name, 1) as [number];
    if (!(value > 0)) throw new UsageFault(`--${name} must be above zero`);
    return value;
  };
  const one = (name: 'rotation-deg' | 'tilt-deg' | 'tilt-towards-deg' | 'seed'): number =>
    numbers(values[name], name, 1)[0] as number;
  if (values.order !== 'top-first' && values.order !== 'bottom-first')
    throw new UsageFault(`--order must be top-first or bottom-first, not ${values.order}`);
  const start = performance.now();
  const report = await imageLayout({
    conditions: conditionsFrom(values),
    layout: needed('layout'),
    process: needed('process'),
    windowUm: numbers(needed('window'), 'window', 4) as [number, number, number, number],
    out: resolve(needed('out')),
    ...(values.top === undefined ? {} : { top: values.top }),
    ...(values.depth === undefined ? {} : { depthUm: numbers(values.depth, 'depth', 2) as [number, number] }),
    ...(values.title === undefined ? {} : { title: values.title }),
    ...{
      voxelNm: positive('voxel-nm'),
      scalePlane: positive('scale-plane'),
      scaleDepth: positive('scale-depth'),
    },
    ...{
      rotationDeg: one('rotation-deg'),
      tiltDeg: one('tilt-deg'),
      tiltTowardsDeg: one('tilt-towards-deg'),
    },
    ...{ seed: one('seed'), cnr: positive('cnr'), order: values.order, mirrored: values.mirror },
    ...{ circular: values.circular, fill: !values['no-fill'], faults: !values['no-faults'] },
    placement: !values['no-placement'],
  });
  const seconds = ((performance.now() - start) / 1000).toFixed(1);
  console.log(
    `${values.out}: ${report.voxels.join(' x ')} voxels, ${report.faults} faults, ` +
      `${report.landmarks} landmarks in ${seconds} s`,
  );
}

if (import.meta.main) await reportAndExit(main);
