/** Depth to stack for a placed scan: at which height every layer of the process table really lies. */
import type { LayerSpan, Layers } from '../../../../shared/artefacts/layers.ts';
import type { Placement } from '../../../../shared/artefacts/placement.ts';
import type { Process, ProcessLayer } from '../../../../shared/artefacts/process.ts';
import type { PlateGrid } from '../../../../shared/frames.ts';
import { percentile } from '../../../kernels/statistics.ts';
import type { PlatePlan } from '../plan-plates.ts';
import { bentBy, blockLifts, fitBow } from './bow.ts';
import { type Redepthed, redepth } from './depth-scale.ts';
import { gatherEvidence } from './evidence.ts';
import { labelMeasured } from './label-measured.ts';
import { coarseGrid, type ScanSlices } from './levelled-plates.ts';
import { ladderOf } from './levels.ts';
import { type Located, locateLevels } from './locate.ts';
import { solveProfiles } from './profiles.ts';
import { levelSpread } from './spread.ts';

export interface HeightsInput {
  readonly scan: ScanSlices;
  readonly placement: Pick<Placement, 'voxel_to_die_um' | 'warp'> &
    Partial<Pick<Placement, 'uncertainty_um'>>;
  readonly plan: PlatePlan;
  readonly process: Process;
  /** Stated distance of the slices, micrometres, where the depth of the placement may follow the heights; else null. */
  readonly sliceUm: number | null;
  /** Coverage of a layer on a grid, drawn fill included; all 0 where nothing is drawn. */
  readonly drawing: (layer: ProcessLayer, grid: PlateGrid) => Float32Array;
}

export interface MeasuredHeights {
  readonly layers: Layers;
  /** The warp of the placement with the bow of the layers in it, where they are bowed; else null. */
  readonly bowedWarp: NonNullable<Placement['warp']> | null;
  /** The placement's depth corrected by the heights, and the plates for it; null where it stays as it was. */
  readonly redepthed: Omit<Redepthed, 'height' | 'commonSd'> | null;
  /** Strength of the layer that holds best over the field, in deviations of its scatter from block to block. */
  readonly held: number;
  readonly doubts: readonly string[];
}

/** Pixels of the measuring grid above which it is made coarser, or cut down to its middle. */
const MOST_PIXELS = 400_000;
/** Below this side the voxels are used as they are. */
const SMALL_FIELD_PX = 160;
const COARSEST = 3;
/** Blur with a bow taken into account against the blur without. */
const SHARPER = 0.99;
/**
 * At least one layer must hold over the field: its strength so many times its scatter from block to block. Drawings of
 * other chips with wires of the same kind stay below 10 in trials, the right one is above 40.
 */
const LEAST_HELD = 15;
/** Half width, in voxels, of the square whose mean is taken away from plates and drawings. */
const RADIUS_VOXELS = 8;

/**
 * What is measured is where each layer lies in the scan (`in_scan_sd_um`). Zero and scale of the depth follow the heights and the
 * process table where `sliceUm` is given, and how well they do is part of `sd_um`; else the placement's own depth is passed on
 * with the uncertainty it states in the middle of the scan.
 * @returns null where the image shows no layer well enough; the nominal heights are all there is then
 */
export async function measureHeights(input: HeightsInput): Promise<MeasuredHeights | null> {
  const { plan, process, placement, scan } = input;
  const ladder = ladderOf(process.layers);
  const { grid, factor } = measuringGrid(plan.grid);
  const drawings = process.layers.map((layer) => input.drawing(layer, grid));
  const look = async (warp: Placement['warp']) => {
    const field = await gatherEvidence({
      ...{ scan, voxelToDieUm: placement.voxel_to_die_um, warp, grid, factor },
      ...{ zUm: plan.zUm, drawings, radius: Math.max(2, Math.round(RADIUS_VOXELS / factor)) },
    });
    return { field, located: locateLevels(ladder, solveProfiles(field), plan.stepUm) };
  };
  let { field, located } = await look(placement.warp);
  if (!located) return null;
  const doubts: string[] = [];
  let bowedWarp: MeasuredHeights['bowedWarp'] = null;
  const bow = fitBow(blockLifts(field, located, plan.stepUm), field, plan.stepUm);
  if (bow) {
    const bent = bentBy(placement.warp, bow.terms, grid);
    const again = await look(bent);
    // Seen along the bow, the layers must come out sharper.
    if (again.located && medianBlur(again.located) < SHARPER * medianBlur(located)) {
      ({ field, located } = again as { field: typeof field; located: typeof located });
      bowedWarp = bent;
      doubts.push(
        `The layers are not flat in the scan: they lie up to ${bow.most.toFixed(3)} µm off the plane of the placement, ` +
          'which was measured over the field and taken into account for the heights.',
      );
    }
  }
  const { sdUm, held } = levelSpread(field, located, plan.stepUm);
  if (held < LEAST_HELD) return null;
  const { significance, fit } = located;
  const redepthed =
    input.sliceUm === null
      ? null
      : redepth({
          ...{ voxelToDieUm: placement.voxel_to_die_um, plan, sliceUm: input.sliceUm, ladder },
          ...{ heightsUm: fit.heightsUm, sdUm },
          shown: significance.flatMap((s, layer) => (s > 0 ? [layer] : [])),
        });
  const heightsUm = redepthed ? Array.from(fit.heightsUm, redepthed.height) : fit.heightsUm;
  const placedSd = placement.uncertainty_um?.z ?? 0;
  const layers = labelMeasured(
    process,
    { ladder, heightsUm, sdUm, significance, commonSd: redepthed?.commonSd ?? (() => placedSd) },
    redepthed?.plan ?? plan,
  );
  const reckoned = layers.layers.filter(
    (l, n) =>
      l.heights_from === 'neighbours' &&
      l.seen !== 'outside' &&
      doubtful(l, Math.max(sdUm[ladder.bottom[n]!]!, sdUm[ladder.top[n]!]!), plan.stepUm),
  );
  if (reckoned.length > 0)
    doubts.push(
      `The image does not show ${reckoned.map((l) => l.name).join(', ')} well enough to measure: ` +
        'these heights are reckoned from the layers above and below and from the process table, and may be off by more ' +
        'than a plate.',
    );
  return { layers, bowedWarp, redepthed: redepthed && withoutFunction(redepthed), held, doubts };
}

/** What can be kept in a file between builds. */
const withoutFunction = ({ voxelToDieUm, plan, sdUm, scaleSd }: Redepthed): MeasuredHeights['redepthed'] => ({
  ...{ voxelToDieUm, plan, sdUm, scaleSd },
});

/** Reckoned heights that their neighbours hold to a plate, or to a fraction of the layer, are no cause for doubt. */
function doubtful({ bottom_um, top_um }: LayerSpan, sdUm: number, stepUm: number): boolean {
  return sdUm > Math.max(stepUm, 0.05 * (top_um - bottom_um));
}

const medianBlur = ({ fit }: Located): number => percentile(Float64Array.from(fit.blurUm).sort(), 0.5);

function measuringGrid(grid: PlateGrid): { grid: PlateGrid; factor: number } {
  const pixels = grid.width_px * grid.height_px;
  let factor = Math.min(grid.width_px, grid.height_px) < SMALL_FIELD_PX ? 1 : 2;
  while (factor < COARSEST && pixels / (factor * factor) > MOST_PIXELS) factor++;
  const whole = coarseGrid(grid, factor);
  const most = Math.floor(Math.sqrt(MOST_PIXELS));
  const left = Math.max(0, (whole.width_px - Math.max(most, Math.floor(MOST_PIXELS / whole.height_px))) >> 1);
  const above = Math.max(
    0,
    (whole.height_px - Math.max(most, Math.floor(MOST_PIXELS / whole.width_px))) >> 1,
  );
  return {
    factor,
    grid: {
      ...whole,
      origin_um: [whole.origin_um[0] + left * whole.pixel_um, whole.origin_um[1] - above * whole.pixel_um],
      width_px: whole.width_px - 2 * left,
      height_px: whole.height_px - 2 * above,
    },
  };
}
