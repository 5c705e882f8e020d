/** Keys of depth: to which plate each leads. */
import type { PlateLabel } from '../../shared/artefacts/layers.ts';
import { clampPlate, layerRuns, nextLayerPlate } from '../lib/depth.ts';

/** @returns null where the key says nothing about depth */
export function plateForKey(key: string, labels: readonly PlateLabel[], index: number): number | null {
  const last = labels.length - 1;
  // Without layers a page of depth is a tenth of the plates.
  const page = (direction: 1 | -1): number =>
    layerRuns(labels).length > 0
      ? nextLayerPlate(labels, index, direction)
      : index + direction * Math.max(1, Math.round(last / 10));
  const target = {
    ArrowUp: index + 1,
    ArrowRight: index + 1,
    ArrowDown: index - 1,
    ArrowLeft: index - 1,
    PageUp: page(1),
    PageDown: page(-1),
    Home: 0,
    End: last,
  }[key];
  return target === undefined ? null : clampPlate(labels.length, target);
}

/** A jump, that a reader may want to take back, rather than a step. */
export const isJump = (key: string): boolean => key.length > 3 && !key.startsWith('Arrow');
