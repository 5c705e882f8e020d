/** What automatic placement of one scan starts from. */
import type { Affine3 } from '../../../../shared/affine.ts';
import type { Box } from '../../../../shared/polygon.ts';
import type { DrawnStack } from './drawing.ts';
import type { WorkVolume } from './work-volume.ts';

export interface AutomaticInput {
  readonly work: WorkVolume;
  readonly stack: DrawnStack;
  /** Where the middle of the scan is looked for. */
  readonly centresUm: Box;
  /** The whole layout. */
  readonly layoutUm: Box;
  /** Where the campaign says it lies; null where it does not say. */
  readonly saidUm?: Box | null;
  readonly signs: readonly (1 | -1)[];
  /** What the campaign says of a map; a map that contradicts it can only be a rival. */
  readonly allowed: (workToDie: Affine3) => boolean;
  readonly threads: number;
  readonly pause: () => Promise<void>;
  readonly signal?: AbortSignal;
}
