/** Measured heights for a scan on disk. */
import { relative } from 'node:path';
import type { Placement } from '../../../../shared/artefacts/placement.ts';
import type { Process } from '../../../../shared/artefacts/process.ts';
import type { Layout } from '../../../formats/layout.ts';
import { openVolume, type VolumeSpec } from '../../../formats/volume/registry.ts';
import type { PlatePlan } from '../plan-plates.ts';
import { layerDrawing } from './layer-drawing.ts';
import { type MeasuredHeights, measureHeights } from './measure-heights.ts';

export interface ScanHeightsInput {
  readonly spec: VolumeSpec;
  readonly campaignFolder: string;
  readonly brokenSlices: readonly number[];
  readonly mask: Uint8Array | null;
  readonly placement: Placement;
  /** Stated distance of the slices, micrometres. */
  readonly sliceUm: number;
  readonly plan: PlatePlan;
  readonly process: Process;
  readonly layout: Layout;
  readonly top: string;
}

/**
 * Reads every slice once, or twice where the layers are bowed.
 * @returns null where the image shows no layer well enough
 */
export async function measureScanHeights(
  input: ScanHeightsInput,
  signal?: AbortSignal,
): Promise<MeasuredHeights | null> {
  const { mask, brokenSlices, placement, plan, process } = input;
  const source = await openVolume(input.spec, { nameOf: (file) => relative(input.campaignFolder, file) });
  try {
    return await measureHeights({
      scan: {
        ...{ ...source.shape, mask, brokenSlices },
        slice: (k) => source.read({ k: [k, k + 1] }, signal),
      },
      ...{ placement, plan, process },
      // Heights that somebody set by hand stay.
      sliceUm: placement.source === 'automatic' ? input.sliceUm : null,
      drawing: layerDrawing(input.layout, input.top),
    });
  } finally {
    await source.close();
  }
}
