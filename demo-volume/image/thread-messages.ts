/** What the main thread and the imaging threads tell each other. */
import type { VolumePlan } from './volume-plan.ts';

export type PhaseName = 'mask' | 'forward' | 'filter' | 'inverse';

/** Start data of a thread. */
export interface SharedVolume {
  readonly plan: VolumePlan;
  readonly whiteSd: number;
  readonly counter: SharedArrayBuffer;
  readonly re: SharedArrayBuffer;
  readonly im: SharedArrayBuffer;
  readonly planes: SharedArrayBuffer;
  /** The finished volume on the whole grid, where it is kept. */
  readonly image: SharedArrayBuffer | null;
}

export interface PhaseRequest {
  readonly phase: PhaseName;
  readonly count: number;
}

export interface PhaseDone {
  readonly phase: PhaseName;
}
