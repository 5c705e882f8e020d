/** The place of a scan from its image: looked for where nobody gave it, held against landmarks where somebody did. */
import { relative } from 'node:path';
import { setImmediate as nextTurn } from 'node:timers/promises';
import type { Placement } from '../../../shared/artefacts/placement.ts';
import { openVolume, type VolumeSpec } from '../../formats/volume/registry.ts';
import type { Progress } from '../../output/progress.ts';
import { confirmLandmarks } from './confirm-landmarks.ts';
import type { MeasuredHeights } from './heights/measure-heights.ts';
import { type ImageAndDrawing, type PlacedByImage, placeByImage } from './place-by-image.ts';

export interface ScanOnDisk extends Omit<ImageAndDrawing, 'source' | 'pause' | 'signal'> {
  readonly campaignFolder: string;
  readonly spec: VolumeSpec;
}

export async function findPlace(
  input: ScanOnDisk,
  fallback: Placement,
  progress: Progress,
  signal?: AbortSignal,
): Promise<PlacedByImage> {
  const source = await openVolume(input.spec, { nameOf: (file) => relative(input.campaignFolder, file) });
  try {
    const byHand = fallback.source === 'landmarks';
    progress.line(
      `place ${input.scan.id.padEnd(16)} ${byHand ? 'held against the image' : 'being looked for'}`,
    );
    const pause = async (): Promise<void> => {
      await nextTurn();
      signal?.throwIfAborted();
    };
    return await (byHand ? confirmLandmarks : placeByImage)({ ...input, source, pause, signal }, fallback);
  } finally {
    await source.close();
  }
}

/**
 * What measuring the heights says of a placement: the bow it found is added, its depth follows what was measured, and a place found by the image alone whose
 * layers do not hold over the field is not locked.
 */
export function withMeasuredHeights(placement: Placement, measured: MeasuredHeights | null): Placement {
  if (measured) {
    const { bowedWarp, redepthed } = measured;
    const u = placement.uncertainty_um;
    return {
      ...placement,
      ...(bowedWarp ? { warp: bowedWarp } : {}),
      ...(redepthed
        ? {
            voxel_to_die_um: redepthed.voxelToDieUm.map((row) => [...row]) as Placement['voxel_to_die_um'],
            uncertainty_um: u && { ...u, z: redepthed.sdUm },
            depth_scale_sd: redepthed.scaleSd,
          }
        : {}),
    };
  }
  if (placement.source !== 'automatic' || placement.verdict !== 'locked') return placement;
  return {
    ...placement,
    verdict: 'ambiguous',
    doubts: [
      ...placement.doubts,
      'No layer shows its drawing all over the field once its height is measured.',
    ],
  };
}
