import { NO_CONDITIONS } from '../../../demo-volume/image/conditions.ts';
import type { PrintedShapes } from '../../../demo-volume/image/layer-mask.ts';
import { type ScanPose, voxelToDie } from '../../../demo-volume/image/scan-frame.ts';
import { type MadeLayer, paddedGrid, type VolumePlan } from '../../../demo-volume/image/volume-plan.ts';
import { degrees } from '../../../shared/units.ts';

/** A pose without turn, tilt or scale error: voxel [i, j, k] of 0.04 um about a centre. */
export function plainPose(shape: [number, number, number], change: Partial<ScanPose> = {}): ScanPose {
  return {
    shape,
    voxelUm: [0.04, 0.04, 0.04],
    centreUm: [0, 0, 0],
    rotationDeg: degrees(0),
    tiltDeg: degrees(0),
    tiltTowardsDeg: degrees(0),
    order: 'top-first',
    mirrored: false,
    ...change,
  };
}

export function printed(rings: readonly (readonly number[])[]): PrintedShapes {
  return { rings, cuts: [], extras: [], biasUm: 0, offsetUm: [0, 0], roundingUm: 0.03 };
}

export function madeLayer(bottomUm: number, topUm: number, rings: readonly (readonly number[])[]): MadeLayer {
  return { name: 'metal', bottomUm, topUm, contrast: 1.8, shapes: printed(rings) };
}

/** A volume of these layers, kept in memory. */
export function smallPlan(
  pose: ScanPose,
  layers: readonly MadeLayer[],
  change: Partial<VolumePlan> = {},
): VolumePlan {
  return {
    shape: pose.shape,
    voxelUm: pose.voxelUm,
    map: voxelToDie(pose),
    layers,
    instrument: { spreadUm: 0.03, coneDeg: degrees(29), coneEdgeDeg: degrees(2.5) },
    noiseSd: 0,
    seed: 5,
    grey: { zero: 26000, perUnit: 5000, drift: { amplitude: 0, gain: 0, direction: 0, phase: 0 } },
    circular: false,
    conditions: NO_CONDITIONS,
    statedNm: 40,
    ...paddedGrid(pose.shape),
    folder: null,
    ...change,
  };
}

export const square = (x: number, y: number, half: number): number[] => [
  ...[x - half, y - half, x + half, y - half, x + half, y + half, x - half, y + half],
];
