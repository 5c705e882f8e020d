/** Messages between the search and its threads. */
import type { PlateGrid } from '../../../../shared/frames.ts';
import type { Hypothesis } from './orientation.ts';

/** The scan in coarse bins at one assumed scale, unit spread inside the field, 0 outside; shared memory. */
export interface ScaledScan {
  /** Die micrometres per frame micrometre. */
  readonly scale: number;
  readonly width: number;
  readonly height: number;
  /** Bins from the first slice to the last. */
  readonly bins: Float32Array;
  readonly weight: Float32Array;
}

export interface SearchLayer {
  readonly bottomUm: number;
  readonly topUm: number;
  /** Mean square of the picture: how much there is to match. */
  readonly power: number;
  /** The layer on the grid of the layout; shared memory. */
  readonly picture: Float32Array;
}

/** A tile of the layout: pixels whose column and row lie in these half-open ranges may be the middle of the scan. */
export interface Tile {
  readonly columns: readonly [number, number];
  readonly rows: readonly [number, number];
}

export interface Height {
  readonly rising: 1 | -1;
  /** Height of the middle of the scan in the die, micrometres. */
  readonly z: number;
}

/** A height with two of the eight orientations, which the search takes at once. */
export interface Pose extends Height {
  /** Index of the first of the two: 0, 2, 4 or 6. */
  readonly pair: number;
}

export interface SearchTask {
  /** Side of the transforms, pixels. */
  readonly side: number;
  readonly grid: PlateGrid;
  readonly layers: readonly SearchLayer[];
  readonly scans: readonly ScaledScan[];
  /** Height of the first bin against the middle of the scan, and thickness of a bin, frame micrometres. */
  readonly bottomUm: number;
  readonly stepUm: number;
  /** Poses at one height stand together. */
  readonly poses: readonly Pose[];
  readonly signs: readonly (1 | -1)[];
  readonly tiles: readonly Tile[];
  /** How many places to bring back. */
  readonly keep: number;
  /** Set to 1 by the caller to end the work early; one Int32 in shared memory. */
  readonly stop: Int32Array<SharedArrayBuffer>;
}

export interface SearchResult {
  /** Best first, each a place of its own. */
  readonly found: readonly Hypothesis[];
  /** Best score of each orientation, slices rising first, then falling: 16 numbers; 0 where none was tried. */
  readonly best: readonly number[];
  /** Best scores of each pose, one for each of its two orientations. */
  readonly bestAt: readonly (readonly number[])[];
}
