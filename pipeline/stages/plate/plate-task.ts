/** Messages between the plate stage and its threads. */
import type { Affine3 } from '../../../shared/affine.ts';
import type { Warp } from '../../../shared/artefacts/placement.ts';
import type { PlateGrid } from '../../../shared/frames.ts';
import type { VolumeSpec } from '../../formats/volume/registry.ts';
import type { BrickShape } from './brick-plan.ts';
import type { GreyWindow } from './plate-windows.ts';

/** A run of neighbouring plates, resampled and written by one thread. Plain data: it can be written to a file. */
export interface PlateTask {
  readonly spec: VolumeSpec;
  /** Files are named relative to it in faults. */
  readonly campaignFolder: string;
  readonly brokenSlices: readonly number[];
  /** rows x columns, 1 where a column of voxels holds data; null where all do. */
  readonly mask: Uint8Array | null;
  /** rows x columns of the plate grid, 1 where nothing may be shown; null where all may. Shared memory. */
  readonly hidden: Uint8Array | null;
  readonly dieToVoxel: Affine3;
  readonly warp: Warp | null;
  readonly grid: PlateGrid;
  /** Number of the first plate and the heights of all plates of this run. */
  readonly firstIndex: number;
  readonly zUm: readonly number[];
  /** Half-open range of slices that the run draws on. */
  readonly slices: readonly [number, number];
  /** Black and white of each plate of this run. */
  readonly windows: readonly GreyWindow[];
  readonly transparent: boolean;
  /** Descriptor of a plate below the folder that the run is written to, with {index}. */
  readonly pathPattern: string;
  /** Layers whose portrait takes plates of this run: first and last plate number, inclusive. */
  readonly portraits: readonly { readonly name: string; readonly first: number; readonly last: number }[];
  readonly brick: BrickShape;
}

export interface PlateMessage {
  readonly task: PlateTask;
  /** Absolute. */
  readonly folder: string;
  /** Counts finished plates across all threads: one Int32 in shared memory. */
  readonly done: Int32Array<SharedArrayBuffer>;
}

export interface PortraitPart {
  readonly name: string;
  /** Sum of the values with data, and how many there were, per pixel. */
  readonly sum: Float32Array;
  readonly count: Uint16Array;
}

/** A plate in small, greys of the brick. */
export interface BrickPlane {
  /** Number of the plane in the brick. */
  readonly plane: number;
  /** Grey and opacity in turn, row by row. */
  readonly bytes: Uint8Array;
}

export interface PlateResult {
  /** Pixels with data over all plates of the run. */
  readonly filled: number;
  readonly portraits: readonly PortraitPart[];
  /** Planes of the brick among the plates of the run, in the unit of the volume; bounded, since the brick is. */
  readonly planes: readonly { readonly plane: number; readonly means: Float32Array }[];
}

/** Does a run, or finds it done. Where and when is not the affair of this stage. */
export type RunPlates = (task: PlateTask) => Promise<PlateResult>;
