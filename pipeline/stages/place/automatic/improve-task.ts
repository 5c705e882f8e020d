/** What a thread is given to make one place better. */
import type { MessagePort } from 'node:worker_threads';
import type { Affine3 } from '../../../../shared/affine.ts';
import type { SnapUm } from './die-view.ts';
import type { RefineRound } from './refine.ts';
import type { WorkVolume } from './work-volume.ts';

export interface ImproveTask {
  /** Its rasters lie in shared memory. */
  readonly work: WorkVolume;
  readonly start: Affine3;
  readonly sign: 1 | -1;
  readonly rounds: readonly RefineRound[];
  /** Takes a grid and answers with the drawing's pictures on it, or with null where they could not be made. */
  readonly port: MessagePort;
  readonly pixelUm: number;
  readonly snapUm: SnapUm | null;
}
