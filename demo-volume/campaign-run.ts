/** One campaign from a flat layout: fabricate, write the truth, image, set landmarks. Both commands end here. */
import { degrees } from '../shared/units.ts';
import type { Staging } from './campaign-folder.ts';
import { fabricate, type MadeChip } from './fabricate.ts';
import { FAULT_PLAN, type FaultKind } from './faults.ts';
import type { Field } from './field.ts';
import { type ConditionOptions, drawConditions, USUAL } from './image/conditions.ts';
import { type ScanPose, voxelToDie } from './image/scan-frame.ts';
import { imageVolume } from './image/volume.ts';
import { paddedGrid, type VolumePlan, viewBox } from './image/volume-plan.ts';
import { DemoFault } from './input-fault.ts';
import { landmarksCsv, setLandmarks } from './landmarks.ts';
import type { Box, FlatLayout } from './layout/flatten.ts';
import type { Stack } from './process-stack.ts';
import { randomStream } from './random.ts';
import { buildTruth, type GeneratorStamp, referenceContrast } from './truth.ts';

/** 90 degrees minus the laminography angle of 61 degrees. */
export const CONE_DEG = 29;
const CONE_EDGE_DEG = 2.5;
/** Point spread in voxels. */
const SPREAD_VOXELS = 0.72;
/** Grey values of the strongest contrast in the stack, and of oxide. */
const GREY_SPAN = 20000;
const GREY_ZERO = 26000;
/** Standard deviations of the noise that the span must hold. */
const SPAN_NOISE = 4;
/** Drift of the gain for a drift of the grey by the contrast of the metal. */
const GAIN_SHARE = 0.05 / 0.18;

export interface CampaignInput {
  readonly stamp: GeneratorStamp;
  readonly chip: string;
  readonly stack: Stack;
  readonly flat: FlatLayout;
  readonly pose: ScanPose;
  readonly statedNm: number;
  readonly region: Box;
  readonly fill: boolean;
  /** Or which, in their order. */
  readonly faults: boolean | readonly FaultKind[];
  readonly cnr: number;
  readonly circular: boolean;
  readonly conditions?: ConditionOptions;
}

export interface CampaignReport {
  readonly voxels: readonly [number, number, number];
  readonly faults: number;
  readonly landmarks: number;
  readonly seconds: Readonly<Record<string, number>>;
  readonly made: MadeChip;
  readonly field: Field;
}

/** Only shapes that the imaging can see go to the threads. */
function cropped(plan: VolumePlan): VolumePlan {
  const view = viewBox(plan);
  const seen = (ring: readonly number[]): boolean => {
    let [x0, y0, x1, y1] = [Infinity, Infinity, -Infinity, -Infinity];
    for (let i = 0; i < ring.length; i += 2) {
      x0 = Math.min(x0, ring[i] as number);
      x1 = Math.max(x1, ring[i] as number);
      y0 = Math.min(y0, ring[i + 1] as number);
      y1 = Math.max(y1, ring[i + 1] as number);
    }
    return x1 >= view[0] && x0 <= view[2] && y1 >= view[1] && y0 <= view[3];
  };
  const layers = plan.layers.map((layer) => {
    const shapes = { ...layer.shapes, rings: layer.shapes.rings.filter(seen) };
    return { ...layer, shapes };
  });
  return { ...plan, layers };
}

/**
 * Writes truth, landmarks and slices into the staging folder. The truth is on disk before any slice is drawn.
 * @throws DemoFault where the scan sees no drawn shape at all.
 */
export async function writeCampaign(input: CampaignInput, staging: Staging): Promise<CampaignReport> {
  const { pose, stack, stamp } = input;
  const map = voxelToDie(pose);
  const asked = input.conditions ?? USUAL;
  const conditions = drawConditions(asked, pose.shape, stamp.seed);
  const field: Field = { map, shape: pose.shape, voxelUm: pose.voxelUm, bend: conditions.bend };
  const made = fabricate(input.flat, stack.layers, field, {
    seed: stamp.seed,
    fill: input.fill,
    faults: input.faults === true ? FAULT_PLAN : input.faults || [],
    region: input.region,
    thicknessSd: asked.thicknessSd,
  });
  if (made.drawn.shapes.length === 0)
    throw new DemoFault({
      file: 'layout',
      expected: 'shapes of the process layers in the window',
      found: 'none',
      remedy: 'check the window and the drawn layers of the process table',
    });
  const contrast = referenceContrast(made, stack.layers);
  const strongest = Math.max(...made.layers.map((l) => Math.abs(l.contrast)));
  const noiseSd = contrast / input.cnr;
  const light = asked.bright === 'light';
  // Strong noise takes some of the span, so that few greys are cut.
  const perUnit = GREY_SPAN / Math.max(strongest, SPAN_NOISE * noiseSd);
  const random = randomStream(stamp.seed, 'drift');
  const plan = cropped({
    shape: pose.shape,
    voxelUm: pose.voxelUm,
    map,
    layers: made.layers,
    instrument: {
      spreadUm: SPREAD_VOXELS * pose.voxelUm[0],
      coneDeg: degrees(CONE_DEG),
      coneEdgeDeg: degrees(CONE_EDGE_DEG),
    },
    noiseSd,
    seed: stamp.seed,
    grey: {
      zero: light ? 65535 - GREY_ZERO : GREY_ZERO,
      perUnit: light ? -perUnit : perUnit,
      drift: {
        amplitude: asked.drift * contrast,
        gain: GAIN_SHARE * asked.drift,
        direction: random.between(0, 2 * Math.PI),
        phase: random.between(0, 2 * Math.PI),
      },
    },
    circular: input.circular,
    conditions,
    statedNm: input.statedNm,
    ...paddedGrid(pose.shape),
    folder: staging.subfolder('slices/fine'),
  });
  const truth = buildTruth({
    ...{ stamp, chip: input.chip, scanId: 'fine', stack: stack.layers, made, pose, plan, field },
    cnr: input.cnr,
    asked,
  });
  staging.write('truth.json', `${JSON.stringify(truth, null, 1)}\n`);
  const vias = new Set(stack.layers.filter((l) => l.role === 'via').map((l) => l.name));
  const faultBoxes = made.faults.map((f) => f.box);
  const landmarks = setLandmarks(
    made.layers,
    vias,
    made.drawn,
    field,
    faultBoxes,
    randomStream(stamp.seed, 'landmarks'),
  );
  staging.write('landmarks.csv', landmarksCsv(landmarks));
  const { seconds } = await imageVolume(plan);
  return {
    voxels: pose.shape,
    faults: made.faults.length,
    landmarks: landmarks.length,
    seconds,
    made,
    field,
  };
}
