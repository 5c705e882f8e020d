/** Placement from the image and the drawing alone, for scans without landmarks. */
import { type Affine3, compose3 } from '../../../shared/affine.ts';
import type { CampaignScan } from '../../../shared/artefacts/campaign.ts';
import type { Evidence } from '../../../shared/artefacts/evidence.ts';
import type { Placement } from '../../../shared/artefacts/placement.ts';
import type { Process, ProcessLayer } from '../../../shared/artefacts/process.ts';
import type { Survey } from '../../../shared/artefacts/survey.ts';
import { gridBoxUm, type PlateGrid } from '../../../shared/frames.ts';
import type { Box } from '../../../shared/polygon.ts';
import { WIDEST_SEARCH_FIELDS } from '../../../shared/search-reach.ts';
import { shapesInWindow } from '../../formats/layout/flatten.ts';
import type { DrawnLayer, Layout } from '../../formats/layout.ts';
import type { VolumeSource } from '../../formats/volume.ts';
import { orderOf, seenFromOf } from '../../kernels/affine-fit-handedness.ts';
import { renderCoverage } from '../../kernels/coverage.ts';
import { percentile } from '../../kernels/statistics.ts';
import type { DrawnStack } from './automatic/drawing.ts';
import { type AutomaticResult, placeAutomatically } from './automatic/place-automatic.ts';
import { makeWorkVolume, type WorkVolume, workFromFile } from './automatic/work-volume.ts';

export interface ImageAndDrawing {
  readonly scan: CampaignScan;
  readonly survey: Survey;
  readonly mask: Uint8Array | null;
  readonly source: VolumeSource;
  readonly layout: Layout;
  readonly top: string;
  readonly layoutBoxUm: Box;
  readonly process: Process;
  readonly threads: number;
  readonly signal?: AbortSignal | undefined;
  /** Called often: lets the caller stop the work or draw a bar. */
  readonly pause: () => Promise<void>;
}

/** How far off a hint may be where the campaign does not say. */
export const HINT_UM = 20;
/** A hint is believed this many fields beyond what it says: a wrong one must show. */
const BEYOND_HINT_FIELDS = 2;
/** Layouts up to this many fields wide are searched whole, hint or not. */
const WHOLE_FIELDS = 30;
/** What the scatter of layers and films leaves out, from simulated scans with known truth, voxels. */
const COMMON_VOXELS = { plane: 0.07, depth: 0.3 } as const;
/** Fewer slices or pixels than this show no structure to match. */
const LEAST_VOXELS = 12;

export interface PlacedByImage {
  readonly placement: Placement;
  /** What a reader can judge it from; null where nothing was compared. */
  readonly evidence: Evidence | null;
}

/** @returns the fallback, with the reason among its doubts, where the image could not be placed */
export async function placeByImage(input: ImageAndDrawing, fallback: Placement): Promise<PlacedByImage> {
  const { scan, survey } = input;
  const stack = drawnStack(input.process, input.layout, input.top);
  const { nx, ny, nz } = survey.shape;
  if (stack.layers.length < 2 || Math.min(nx, ny, nz) < LEAST_VOXELS)
    return nothing(
      fallback,
      'Too few layers are drawn, or too few voxels scanned, to find the place by itself.',
    );
  const voxelUm = [survey.voxel_nm.x / 1000, survey.voxel_nm.y / 1000, survey.voxel_nm.z / 1000] as const;
  const field = Math.max(nx * voxelUm[0], ny * voxelUm[1]);
  const saidUm = said(input);
  const centresUm = searched(input.layoutBoxUm, saidUm, field);
  const region = Math.max(centresUm[2] - centresUm[0], centresUm[3] - centresUm[1]);
  if (region > WIDEST_SEARCH_FIELDS * field)
    return nothing(
      fallback,
      `The scan is ${field.toFixed(0)} µm wide and could lie anywhere in ${region.toFixed(0)} µm: more than is ` +
        'searched. Say roughly where it lies (near_um, within_um).',
    );
  const work = await workVolumeOf(input);
  const result = await placeAutomatically({
    ...{
      work,
      stack,
      centresUm,
      layoutUm: input.layoutBoxUm,
      saidUm,
      threads: input.threads,
      pause: input.pause,
    },
    ...(input.signal ? { signal: input.signal } : {}),
    signs: scan.bright === 'auto' ? [1, -1] : [scan.bright === 'dense' ? 1 : -1],
    allowed: (map) =>
      (scan.order === 'auto' || orderOf(map) === scan.order) &&
      (scan.seen_from === 'auto' || seenFromOf(map) === scan.seen_from),
  });
  if (!result.best || result.verdict === 'unplaced')
    return { placement: withDoubt(fallback, ...result.doubts), evidence: result.shown };
  return { placement: placementOf(result, result.best.workToDie, work, fallback), evidence: result.shown };
}

export const workVolumeOf = ({ source, survey, mask, signal }: ImageAndDrawing): Promise<WorkVolume> =>
  makeWorkVolume(
    {
      ...{ source, mask, brokenSlices: survey.broken_slices },
      voxelUm: [survey.voxel_nm.x / 1000, survey.voxel_nm.y / 1000, survey.voxel_nm.z / 1000],
    },
    signal,
  );

function placementOf(result: AutomaticResult, map: Affine3, work: WorkVolume, base: Placement): Placement {
  const best = result.best!;
  const file = workFromFile(work.binning);
  const voxelToDie = compose3(map, file);
  const residuals = Float64Array.from(best.agreement.residualsUm.filter((r) => r !== null)).sort();
  const rival = result.runnerUp;
  const { evidence } = result;
  const score = (value: number): number => Math.min(1, Math.max(0, value));
  return {
    ...base,
    voxel_to_die_um: mutable(voxelToDie),
    warp: best.warp && { ...best.warp },
    source: 'automatic',
    verdict: result.verdict,
    score: score(best.score),
    runner_up: rival
      ? { score: score(rival.refined.score), voxel_to_die_um: mutable(compose3(rival.workToDie, file)) }
      : null,
    residual_um:
      residuals.length > 0
        ? { median: percentile(residuals, 0.5), p95: percentile(residuals, 0.95), count: residuals.length }
        : null,
    uncertainty_um: widened(best.uncertaintyUm, work),
    seen_from: seenFromOf(voxelToDie),
    order: orderOf(voxelToDie),
    method:
      'Matched with the drawing of all layers together. ' +
      `${Math.round(100 * evidence.agreeing)} % of ${evidence.patches} patches find the place by themselves; it stands ` +
      `${evidence.aboveDecoys.toFixed(1)} standard deviations above turned, mirrored and upside-down drawings.`,
    doubts: [...result.doubts],
  };
}

/** The scatter of the patches says nothing of what they have in common; what trials with known truth showed is added. */
export function widened(
  scatter: { x: number; y: number; z: number },
  work: Pick<WorkVolume, 'voxelUm'>,
): Placement['uncertainty_um'] {
  if (!Number.isFinite(scatter.x + scatter.y + scatter.z)) return null;
  const side = COMMON_VOXELS.plane * work.voxelUm[0];
  return {
    x: Math.hypot(scatter.x, side),
    y: Math.hypot(scatter.y, side),
    z: Math.hypot(scatter.z, COMMON_VOXELS.depth * work.voxelUm[2]),
  };
}

const mutable = (map: Affine3): Placement['voxel_to_die_um'] => [[...map[0]], [...map[1]], [...map[2]]];

const nothing = (fallback: Placement, doubt: string): PlacedByImage => ({
  placement: withDoubt(fallback, doubt),
  evidence: null,
});

const withDoubt = (base: Placement, ...doubts: string[]): Placement => ({
  ...base,
  doubts: [...base.doubts, ...doubts],
});

/** Where the campaign says the middle of the scan lies. */
function said({ scan }: ImageAndDrawing): Box | null {
  if (!scan.near_um) return null;
  const [x, y] = scan.near_um;
  const off = scan.within_um ?? HINT_UM;
  return [x - off, y - off, x + off, y + off];
}

function searched(layoutUm: Box, saidUm: Box | null, fieldUm: number): Box {
  const whole = Math.max(layoutUm[2] - layoutUm[0], layoutUm[3] - layoutUm[1]) <= WHOLE_FIELDS * fieldUm;
  if (!saidUm || whole) return layoutUm;
  const more = BEYOND_HINT_FIELDS * fieldUm;
  const [x0, y0, x1, y1] = saidUm;
  // Beyond the drawing there is nothing to find.
  return [
    Math.max(Math.min(x0 - more, layoutUm[2]), layoutUm[0]),
    Math.max(Math.min(y0 - more, layoutUm[3]), layoutUm[1]),
    Math.min(Math.max(x1 + more, layoutUm[0]), layoutUm[2]),
    Math.min(Math.max(y1 + more, layoutUm[1]), layoutUm[3]),
  ];
}

/** Layers of the process that are drawn, fill included: it is metal like any other. */
export function drawnStack(process: Process, layout: Layout, top: string): DrawnStack {
  const drawnOf = (layer: ProcessLayer) => new Set([...layer.drawn, ...(layer.fill ?? [])] as DrawnLayer[]);
  return {
    layers: process.layers.filter((layer) => layer.drawn.length > 0),
    render: (layer: ProcessLayer, grid: PlateGrid) => {
      const polygons: Float64Array[] = [];
      for (const shape of shapesInWindow(layout, top, gridBoxUm(grid), drawnOf(layer)))
        polygons.push(shape.xyUm);
      return renderCoverage(polygons, grid);
    },
  };
}
