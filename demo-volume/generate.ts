/**
 * Draws the tide-gauge logger chip TGL-7 and writes a campaign of it.
 * node demo-volume/generate.ts [--out FOLDER] [--seed N] [--fast] [--circular] [--force]
 */
import { readdirSync, readFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { parseArgs } from 'node:util';
import { degrees, type Nm, nm, umFromNm } from '../shared/units.ts';
import { isUpToDate, stageCampaign } from './campaign-folder.ts';
import { type CampaignReport, writeCampaign } from './campaign-run.ts';
import { reportAndExit, UsageFault } from './command.ts';
import { encodeGds } from './gds/encoder.ts';
import type { ScanPose } from './image/scan-frame.ts';
import { drawChip } from './layout/chip.ts';
import { checkDrawing } from './layout/drawing-check.ts';
import { TRACK } from './layout/drawn-layers.ts';
import { flatten } from './layout/flatten.ts';
import { DIE_TRACKS } from './layout/floorplan.ts';
import { LessonPlaces } from './lesson-places.ts';
import { readStack } from './process-stack.ts';
import { randomStream } from './random.ts';
import { generatorStamp } from './truth.ts';

export const DEFAULT_SEED = 7;
const VOXEL_NM: Nm = nm(40);
/** The voxel is a little larger in the plane, and smaller in depth, than the acquisition file says. */
const SCALE_PLANE = 1.012;
const SCALE_DEPTH = 0.98;
/** Where the operator aimed, and how far the stage missed. */
const AIM_UM = [17, 14] as const;
const MISS_UM = 0.7;
const FULL = [640, 512, 170] as const;
/** A quarter of the field, for trying things out. */
const FAST = [320, 256, 170] as const;
/** Fill keeps this far from the edge of the die, where the saw runs. */
const BORDER_UM = 0.5;
const DIE_UM = [DIE_TRACKS.x * TRACK * 1e-3, DIE_TRACKS.y * TRACK * 1e-3] as const;
/** Height of the middle of the volume. */
const MIDDLE_UM = 3.15;

const HERE = dirname(fileURLToPath(import.meta.url));

/** Pose of the demo scan of a seed. */
export function demoPose(seed: number, fast: boolean): ScanPose {
  const random = randomStream(seed, 'pose');
  const voxel = umFromNm(VOXEL_NM);
  const round = (v: number): number => Math.round(v * 1000) / 1000;
  return {
    shape: fast ? FAST : FULL,
    voxelUm: [voxel * SCALE_PLANE, voxel * SCALE_PLANE, voxel * SCALE_DEPTH],
    centreUm: [
      round(AIM_UM[0] + random.between(-MISS_UM, MISS_UM)),
      round(AIM_UM[1] + random.between(-MISS_UM, MISS_UM)),
      MIDDLE_UM,
    ],
    rotationDeg: degrees(2.3),
    tiltDeg: degrees(0.4),
    tiltTowardsDeg: degrees(Math.round(random.between(0, 360))),
    order: 'top-first',
    mirrored: false,
  };
}

export interface GenerateOptions {
  readonly out: string;
  readonly seed: number;
  readonly fast: boolean;
  readonly circular: boolean;
  readonly force: boolean;
}

/** Writes the campaign, or returns null where an up-to-date one is there already. */
export async function generate(options: GenerateOptions): Promise<CampaignReport | null> {
  const { seed, fast, circular } = options;
  const stamp = generatorStamp(HERE, seed, JSON.stringify({ fast, circular }));
  if (!options.force && isUpToDate(options.out, stamp)) return null;
  const stack = readStack(join(HERE, 'process.yaml'));
  const chip = drawChip(seed);
  const wrong = checkDrawing(chip, stack.layers);
  if (wrong.length > 0)
    throw new Error(`the drawing of seed ${seed} is not clean: ${JSON.stringify(wrong[0])}`);
  const flat = flatten(chip.library, chip.top, 'the drawing');
  const staging = stageCampaign(options.out);
  try {
    staging.write('layout/tgl7.gds', encodeGds(chip.library));
    staging.write('process.yaml', readFileSync(join(HERE, 'process.yaml')));
    staging.write('campaign.yaml', readFileSync(join(HERE, 'campaign.yaml')));
    const pose = demoPose(seed, fast);
    const report = await writeCampaign(
      {
        ...{ stamp, chip: 'TGL-7', stack, flat, pose, statedNm: VOXEL_NM },
        region: [BORDER_UM, BORDER_UM, DIE_UM[0] - BORDER_UM, DIE_UM[1] - BORDER_UM],
        ...{ fill: true, faults: true, cnr: 4, circular },
      },
      staging,
    );
    const { made, field } = report;
    const [x, y] = pose.centreUm;
    const places = new LessonPlaces({ instances: chip.instances, made, field, middleUm: [x, y] });
    for (const name of readdirSync(join(HERE, 'lessons'))) {
      const text = places.fillIn(readFileSync(join(HERE, 'lessons', name), 'utf8'));
      if (text !== null) staging.write(`lessons/${name}`, text);
    }
    staging.publish();
    return report;
  } catch (error) {
    staging.discard();
    throw error;
  }
}

async function main(): Promise<void> {
  const { values } = parseArgs({
    options: {
      out: { type: 'string', default: join(HERE, 'campaign') },
      seed: { type: 'string', default: String(DEFAULT_SEED) },
      fast: { type: 'boolean', default: false },
      circular: { type: 'boolean', default: false },
      force: { type: 'boolean', default: false },
    },
  });
  const seed = Number(values.seed);
  if (!Number.isSafeInteger(seed) || seed < 0)
    throw new UsageFault(`--seed must be a whole number, not ${values.seed}`);
  const start = performance.now();
  const report = await generate({ ...values, seed });
  if (!report) {
    console.log(`${values.out} is up to date (seed ${seed}).`);
    return;
  }
  const steps = Object.entries(report.seconds).map(([name, s]) => `${name} ${s.toFixed(1)} s`);
  console.log(
    `${values.out}: ${report.voxels.join(' x ')} voxels, ${report.faults} faults, ${report.landmarks} landmarks ` +
      `in ${((performance.now() - start) / 1000).toFixed(1)} s (${steps.join(', ')})`,
  );
}

if (import.meta.main) await reportAndExit(main);
