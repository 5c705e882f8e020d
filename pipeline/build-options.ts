/** What a build is asked for, and what it tells at its end. */
import type { Progress } from './output/progress.ts';

export interface BuildOptions {
  /** Where the folio goes; `<campaign>/folio` when left out. */
  readonly out?: string;
  /** Leave out the pages: artefacts and tiles only. */
  readonly dataOnly?: boolean;
  /** Threads to use; as many as there are processors when left out. */
  readonly jobs?: number;
  /** Where the long stages are done: in this process, or as jobs of a Slurm cluster; here when left out. */
  readonly engine?: 'local' | 'slurm';
  /** Do everything anew, whatever earlier builds left in the cache. */
  readonly force?: boolean;
  /** Megabytes that the build may take; plates are made with fewer threads, or not at all, to keep within. */
  readonly memoryMb?: number;
  /** Whether paths and links of the campaign may leave its folder; default false. */
  readonly allowOutside?: boolean;
  /** Write the plates as OME-Zarr too, inside the folio. */
  readonly zarr?: boolean;
  /** Plates as TIFF too, one file each. */
  readonly tiff?: boolean;
  /** Write a BagIt bag beside the folio too. */
  readonly bag?: boolean;
  /** Write the folio as one archive file, or as few as its format allows, too. */
  readonly zip?: boolean;
  readonly progress: Progress;
  readonly signal?: AbortSignal;
}

export interface BuildSummary {
  readonly folio: string;
  readonly files: number;
  readonly bytes: number;
  readonly seconds: number;
  /** Most memory that was resident at a time, without the programs that make pages. */
  readonly peakMb: number;
  /** Seconds of each stage, summed over the scans. */
  readonly stages: ReadonlyMap<string, number>;
  /** Steps whose results were there already, and steps that were done. */
  readonly steps: { readonly found: number; readonly made: number };
  /** What `check` expects of such a build; null where steps were kept, or pages left out, and it cannot be compared. */
  readonly expected: {
    readonly seconds: number;
    readonly memoryMb: number;
    readonly bytes: number;
    readonly files: number;
  } | null;
  readonly doubts: readonly string[];
}
