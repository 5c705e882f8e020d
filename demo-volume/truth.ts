/** `truth.json`: everything the generator decided, on disk before the first slice is drawn. */
import { createHash } from 'node:crypto';
import { readdirSync, readFileSync, statSync } from 'node:fs';
import { join } from 'node:path';
import type { MadeChip } from './fabricate.ts';
import { type Field, fieldCorners, inField } from './field.ts';
import type { ConditionOptions } from './image/conditions.ts';
import type { ScanPose } from './image/scan-frame.ts';
import { depthSeen, type VolumePlan } from './image/volume-plan.ts';
import type { StackLayer } from './process-stack.ts';

/** Raised by hand when the form of the campaign changes. */
export const GENERATOR_VERSION = 1;

export interface GeneratorStamp {
  readonly version: number;
  /** SHA-256 over the generator's own files: any change of them makes a campaign out of date. */
  readonly sources_sha256: string;
  readonly seed: number;
  readonly options: string;
}

function sourceFiles(folder: string): string[] {
  return readdirSync(folder)
    .filter((name) => !name.startsWith('.') && name !== 'campaign' && name !== 'README.md')
    .flatMap((name) => {
      const path = join(folder, name);
      if (statSync(path).isDirectory()) return sourceFiles(path);
      return /\.(ts|yaml|md)$/.test(name) ? [path] : [];
    })
    .sort();
}

/** Identity of what this generator would write for a seed and its options. */
export function generatorStamp(folder: string, seed: number, options: string): GeneratorStamp {
  const hash = createHash('sha256');
  for (const path of sourceFiles(folder)) hash.update(path.slice(folder.length)).update(readFileSync(path));
  return { version: GENERATOR_VERSION, sources_sha256: hash.digest('hex'), seed, options };
}

const round = (v: number, digits = 6): number => Math.round(v * 10 ** digits) / 10 ** digits;

export interface TruthInput {
  readonly stamp: GeneratorStamp;
  readonly chip: string;
  readonly scanId: string;
  readonly stack: readonly StackLayer[];
  readonly made: MadeChip;
  readonly pose: ScanPose;
  readonly plan: VolumePlan;
  readonly field: Field;
  readonly cnr: number;
  readonly asked: ConditionOptions;
}

/** Metal that the contrast-to-noise ratio is stated for: the strongest conductor. */
export function referenceContrast(made: Pick<MadeChip, 'layers'>, stack: readonly StackLayer[]): number {
  const contrasts = made.layers.filter((_, i) => stack[i]?.role === 'conductor').map((l) => l.contrast);
  return Math.max(...contrasts);
}

/** How the file's voxels depart from `voxel_to_die_um`, as numbers and in words; null where they do not. */
function distortionTruth({ plan, asked }: TruthInput): Record<string, unknown> | null {
  const { bend } = plan.conditions;
  if (!bend) return null;
  return {
    warp_voxels: asked.warpVoxels,
    bow_um: asked.bowUm,
    jitter_sd_voxels: asked.jitterVoxels,
    formula:
      "voxel [i, j, k] shows M [i' + u, j' + v, k, 1] + [0, 0, w] with i' = i + shift_k[0], j' = j + shift_k[1]; " +
      "u, v (voxels) and w (um) = sum of c P_a(p) P_b(q) over terms [a, b, c], P Legendre, p = 2 i' / (nx - 1) - 1, " +
      "q = 2 j' / (ny - 1) - 1; p, q held within -1.1 ... 1.1; M = voxel_to_die_um",
    u_terms: bend.warpI,
    v_terms: bend.warpJ,
    w_terms_um: bend.bowUm,
    shift_voxels: bend.shifts,
  };
}

/** The truth as plain data, micrometres in the die frame unless the name says otherwise. */
export function buildTruth(input: TruthInput): Record<string, unknown> {
  const { stack, made, pose, plan, field, stamp } = input;
  const seen = depthSeen(plan);
  const middle = (plan.shape[2] - 1) / 2;
  const layers = made.layers.map((layer, i) => {
    const nominal = stack[i] as StackLayer;
    const cut = layer.bottomUm < seen[0] || layer.topUm > seen[1];
    const outside = layer.topUm < seen[0] || layer.bottomUm > seen[1];
    return {
      name: layer.name,
      role: nominal.role,
      material: nominal.material,
      nominal_bottom_um: nominal.bottomUm,
      nominal_top_um: round(nominal.bottomUm + nominal.thicknessUm),
      bottom_um: round(layer.bottomUm),
      top_um: round(layer.topUm),
      bias_per_edge_um: round(layer.shapes.biasUm),
      offset_um: layer.shapes.offsetUm.map((v) => round(v)),
      corner_rounding_um: layer.shapes.roundingUm,
      contrast_e_per_A3: round(layer.contrast),
      seen: outside ? 'outside' : cut ? 'cut' : 'whole',
    };
  });
  const faults = made.faults.map((fault, i) => {
    const [x0, y0, x1, y1] = fault.box;
    const [dx, dy] = made.layers.find((l) => l.name === fault.layer)?.shapes.offsetUm ?? [0, 0];
    return {
      id: `T${i + 1}`,
      kind: fault.kind,
      layer: fault.layer,
      centre_um: [round((x0 + x1) / 2 + dx, 4), round((y0 + y1) / 2 + dy, 4)],
      box_um: [round(x0 + dx, 4), round(y0 + dy, 4), round(x1 + dx, 4), round(y1 + dy, 4)],
      nets: fault.nets,
    };
  });
  const fill = made.fill.map((f) => {
    const layer = made.layers.find((l) => l.name === f.layer);
    const z = layer ? (layer.bottomUm + layer.topUm) / 2 : 0;
    const inside = f.squares.filter(
      (b) => inField(field, b[0], b[1], z, 0) && inField(field, b[2], b[3], z, 0),
    );
    return {
      layer: f.layer,
      size_um: [f.sizeUm, f.sizeUm],
      pitch_um: [f.pitchUm, f.pitchUm],
      origin_um: f.originUm.map((v) => round(v)),
      count_on_die: f.squares.length,
      count_in_field: inside.length,
      corners_in_field_um: inside.map((b) => [round(b[0], 4), round(b[1], 4)]),
    };
  });
  return {
    version: 1,
    generator: stamp,
    chip: input.chip,
    scan: {
      id: input.scanId,
      shape: plan.shape,
      voxel_nm_stated: plan.statedNm,
      voxel_nm_true: plan.voxelUm.map((v) => round(v * 1000)),
      rotation_deg: pose.rotationDeg,
      tilt_deg: pose.tiltDeg,
      tilt_towards_deg: pose.tiltTowardsDeg,
      order: pose.order,
      seen_from: pose.mirrored ? 'back' : 'front',
      bright: input.asked.bright,
      centre_um: pose.centreUm,
      depth_seen_um: seen.map((v) => round(v)),
      field_corners_um: fieldCorners(field, middle),
      circular: plan.circular,
      outside: plan.circular ? plan.conditions.outside : null,
      broken_slices: plan.conditions.broken,
    },
    voxel_to_die_um: plan.map,
    distortion: distortionTruth(input),
    layers,
    faults,
    fill,
    noise: {
      sd_e_per_A3: round(plan.noiseSd),
      cnr: input.cnr,
      reference_contrast_e_per_A3: round(referenceContrast(made, stack)),
    },
    instrument: {
      spread_fwhm_nm: round(plan.instrument.spreadUm * 1000 * 2 * Math.sqrt(2 * Math.LN2), 3),
      missing_cone_half_angle_deg: plan.instrument.coneDeg,
      missing_cone_edge_deg: plan.instrument.coneEdgeDeg,
    },
    grey: {
      zero: plan.grey.zero,
      per_e_per_A3: round(plan.grey.perUnit),
      drift_e_per_A3: round(plan.grey.drift.amplitude),
      gain_drift: plan.grey.drift.gain,
    },
  };
}
