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
}

export interface BuildEstimate {
  readonly seconds: number;
  readonly bytes: number;
  readonly files: number;
}

const TILE_PX = 256;
/** Bytes per pixel of plates, portraits and renders, all pyramid levels together; and of all else. */
const BYTES_PER_PIXEL = { loose: 0.53, packed: 0.7 } as const;
const BYTES_OF_PAGES = 0.8e6;
const FILES_OF_PAGES = 65;

/** Seconds of one processor. */
const COST = {
  surveyPerVoxel: 1.3e-8,
  /** Landmarks held against the image. */
  landmarks: 2,
  landmarksPerVoxel: 2.5e-7,
  /** A place looked for; little of it depends on the size of the scan, which is binned for it. */
  search: 110,
  heightsPerVoxel: 2.2e-7,
  heightsPerPlate: 0.014,
  platePerPixel: 5e-7,
  /** What packing takes less than loose tiles ("Packed pyramids" there). */
  packedPerPixel: -1.1e-7,
  plate: 0.02,
  portraitPerPixel: 4e-7,
  nets: 3,
  compareLayer: 1,
  comparePerPixel: 1.3e-5,
  measurePerPixel: 1.6e-6,
  perFile: 5.5e-4,
  pages: 8,
} as const;

export function estimateBuild({
  shape,
  scan,
  process,
  layout,
  threads,
  tiles = 'loose',
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
  const perPixel = COST.platePerPixel + (packed ? COST.packedPerPixel : 0);
  const plates = perPixel * voxels + COST.plate * nz;
  return {
    seconds:
      COST.surveyPerVoxel * voxels +
      (layers > 0 ? COST.heightsPerVoxel * voxels + COST.heightsPerPlate * nz : 0) +
      plates / threads +
      COST.portraitPerPixel * layerPixels +
      (isDrawn ? drawn : 0) +
      COST.perFile * files +
      COST.pages,
    bytes: BYTES_PER_PIXEL[tiles] * pictures * area + BYTES_OF_PAGES,
    files,
  };
}
