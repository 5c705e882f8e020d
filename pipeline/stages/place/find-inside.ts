/** The place of a fine scan from files: opens it and its overview. */
import { relative } from 'node:path';
import { setImmediate as nextTurn } from 'node:timers/promises';
import type { Placement } from '../../../shared/artefacts/placement.ts';
import { openVolume } from '../../formats/volume/registry.ts';
import type { Progress } from '../../output/progress.ts';
import type { ScanOnDisk } from './find-place.ts';
import type { Overview } from './nested/overview.ts';
import { placeInside } from './nested/place-inside.ts';
import type { PlacedByImage } from './place-by-image.ts';

export async function findInside(
  input: ScanOnDisk,
  overview: Overview,
  fallback: Placement,
  progress: Progress,
  signal?: AbortSignal,
): Promise<PlacedByImage> {
  const nameOf = (file: string): string => relative(input.campaignFolder, file);
  const source = await openVolume(input.spec, { nameOf });
  try {
    const overviewSource = await openVolume(overview.spec, { nameOf });
    try {
      progress.line(`place ${input.scan.id.padEnd(16)} being looked for, in ${overview.id} too`);
      const pause = async (): Promise<void> => {
        await nextTurn();
        signal?.throwIfAborted();
      };
      return await placeInside({ ...input, source, overview, overviewSource, pause, signal }, fallback);
    } finally {
      await overviewSource.close();
    }
  } finally {
    await source.close();
  }
}
