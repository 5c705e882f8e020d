/**
 * How large a folio will be and how long its build will take, from headers alone. The constants are fitted to processor
 * seconds and sizes of whole builds (tests/bench/results.md, "What check expects of a build").
 */
import type { CampaignScan } from '../../../../shared/artefacts/campaign.ts';
import type { Process } from '../../../../shared/artefacts/process.ts';
import { totalTiles } from '../../../../shared/pyramid.ts';
import type { LoadedLayout } from '../load-layout.ts';

export interface EstimateInput {
  readonly shape: { readonly nz: number; readonly ny: number; readonly nx: number };
  readonly scan: CampaignScan;
  readonly process: Process | null;
  readonly layout: LoadedLayout | null;
  readonly threads: number;
  readonly tiles?: 'loose' | 'packed';
  /** Of a voxel; 2 where it is not known. */
  readonly voxelBytes?: number;
}

export interface BuildEstimate {
  /** By the clock, on a machine with nothing else to do. */
  readonly seconds: number;
  readonly memoryMb: number;
  readonly bytes: number;
  readonly files: number;
}

const TILE_PX = 256;
/** Bytes per pixel of plates, portraits and renders, all pyramid levels together; and of all else. */
const BYTES_PER_PIXEL = { loose: 0.53, packed: 0.7 } as const;
const BYTES_OF_PAGES = 0.8e6;
const FILES_OF_PAGES = 80;

/**
 * Seconds of one processor, taken while the machine was busy to several times its processors. There each takes longer:
 * builds that were timed alone took this share of what the sum of their stages says.
 */
const ALONE = 0.75;
const COST = {
  surveyPerVoxel: 1.3e-8,
  /** Landmarks held against the image. */
  landmarks: 2,
  landmarksPerVoxel: 1.8e-7,
  /** A place looked for: 19 to 106 were met; little of it depends on the size of the scan, which is binned for it. */
  search: 50,
  heightsPerVoxel: 1.9e-7,
  heightsPerPlate: 0.003,
  plate: { loose: 0.05, packed: 0.02 },
  platePerPixel: { loose: 2.8e-7, packed: 1.05e-7 },
  portraitPerPixel: 5e-7,
  nets: 2.5,
  compareLayer: 0.4,
  comparePerPixel: 3.1e-6,
  /** Resolution, which needs no drawing; then what is drawn. */
  measure: 1.5,
  measurePerPixel: 2e-6,
  perFile: 5.5e-4,
  /** The start, pages and record; a first build on a machine makes the program of its pages too, some 4 s. */
  fixed: 4,
} as const;

/** Megabytes: the process itself, each thread beside it, and the slices that a plate crosses at half a degree of tilt. */
const MEMORY = {
  process: 350,
  thread: 40,
  slicesPerColumn: 0.0087,
  slices: 5,
  drawn: 80,
  drawnPerPixel: 7e-5,
  /** Views of a scan whose place is looked for, in two threads, for each of its voxels after binning to so many across. */
  lookedPerVoxel: 3.5e-5,
  lookedAcross: 320,
} as const;
/** Bytes of a plate pixel, in a thread and in the joint part (`plate/plate-memory.ts` reckons the same of a known place). */
const MEMORY_PER_PIXEL = { thread: 18, layer: 12, joint: 24, jointLayer: 4 } as const;

export function estimateBuild({
  shape,
  scan,
  process,
  layout,
  threads,
  tiles = 'loose',
  voxelBytes = 2,
}: EstimateInput): BuildEstimate {
  const { nx, ny, nz } = shape;
  const area = nx * ny;
  const voxels = area * nz;
  const layers = process?.layers.length ?? 0;
  const isDrawn = layout?.boxUm != null && layers > 0;
  const hasPlace = scan.placement !== undefined || isDrawn;
  // Of each layer a portrait, and where there is a drawing its render.
  const pictures = nz + layers * (isDrawn && hasPlace ? 2 : 1);
  const packed = tiles === 'packed';
  const each = packed ? 2 : totalTiles({ width: nx, height: ny, tilePx: TILE_PX }) + 1;
  const files = pictures * each + FILES_OF_PAGES;
  const layerPixels = layers * area;
  const placing = scan.placement ? COST.landmarks + COST.landmarksPerVoxel * voxels : COST.search;
  const drawn =
    placing +
    COST.nets +
    COST.compareLayer * layers +
    COST.comparePerPixel * layerPixels +
    COST.measurePerPixel * layerPixels;
  const plates = COST.platePerPixel[tiles] * voxels + COST.plate[tiles] * nz;
  return {
    seconds:
      ALONE *
      (COST.fixed +
        COST.measure +
        COST.surveyPerVoxel * voxels +
        (layers > 0 ? COST.heightsPerVoxel * voxels + COST.heightsPerPlate * nz : 0) +
        plates / threads +
        COST.portraitPerPixel * layerPixels +
        (isDrawn ? drawn : 0) +
        COST.perFile * files),
    memoryMb:
      memoryOf(nx, ny, nz, layers, threads, voxelBytes) +
      // What compares a drawing holds all portraits and renders.
      (isDrawn ? MEMORY.drawn + MEMORY.drawnPerPixel * layerPixels : 0) +
      (isDrawn && !scan.placement && threads > 1 ? MEMORY.lookedPerVoxel * nz * lookedPixels(nx, ny) : 0),
    bytes: BYTES_PER_PIXEL[tiles] * pictures * area + BYTES_OF_PAGES,
    files,
  };
}

/** Pixels of a slice that is binned for matching. */
function lookedPixels(nx: number, ny: number): number {
  const binning = Math.max(1, Math.ceil(Math.max(nx, ny) / MEMORY.lookedAcross));
  return Math.floor(nx / binning) * Math.floor(ny / binning);
}

function memoryOf(
  nx: number,
  ny: number,
  nz: number,
  layers: number,
  threads: number,
  voxelBytes: number,
): number {
  const { process, thread, slicesPerColumn, slices } = MEMORY;
  const megapixels = (nx * ny) / 1e6;
  const held = Math.min(nz, slicesPerColumn * Math.max(nx, ny) + slices);
  // A run of plates seldom meets more than two layers.
  const { thread: own, layer, joint, jointLayer } = MEMORY_PER_PIXEL;
  const each = thread + megapixels * (held * voxelBytes + own + layer * Math.min(2, layers));
  return process + threads * each + megapixels * (joint + jointLayer * layers);
}
