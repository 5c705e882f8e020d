/** The stages up to measuring, without pictures and pages: what tests and benchmarks of measuring need. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { performance } from 'node:perf_hooks';
import { openVolume } from '../../pipeline/formats/volume/registry.ts';
import type { VoxelArray } from '../../pipeline/formats/volume.ts';
import { resamplePlate } from '../../pipeline/kernels/resample.ts';
import type { Progress } from '../../pipeline/output/progress.ts';
import { measureScan } from '../../pipeline/stages/measure/measure-scan.ts';
import { labelPlates } from '../../pipeline/stages/place/label-plates.ts';
import { placeScan } from '../../pipeline/stages/place/place-scan.ts';
import { planPlates } from '../../pipeline/stages/place/plan-plates.ts';
import { portraitRanges } from '../../pipeline/stages/plate/portrait-ranges.ts';
import { loadCampaign } from '../../pipeline/stages/survey/load-campaign.ts';
import { loadLayout } from '../../pipeline/stages/survey/load-layout.ts';
import { surveyScan } from '../../pipeline/stages/survey/survey-scan.ts';
import { invert3 } from '../../shared/affine.ts';
import type { Measurements } from '../../shared/artefacts/measurements.ts';

const quiet = { bar: () => ({ advance() {}, finish() {} }), line() {} } as unknown as Progress;

export interface MeasuredCampaign {
  readonly measured: Measurements;
  readonly pixelUm: number;
  /** Of the measure stage alone. */
  readonly seconds: number;
}

interface TrueHeights {
  readonly layers: readonly { readonly name: string; readonly bottom_um: number; readonly top_um: number }[];
}

/**
 * The first scan of a campaign, placed by the landmarks that the generator sets.
 * @param trueHeights portraits by the heights that the generator wrote down, not by those of the process table
 */
export async function measureCampaign(folder: string, trueHeights = true): Promise<MeasuredCampaign> {
  const loaded = await loadCampaign(folder, false);
  const layout = await loadLayout(loaded);
  const scan = loaded.campaign.scans[0]!;
  const surveyed = await surveyScan(loaded.folder, scan, quiet);
  const { survey, field, spec } = surveyed;
  const text = readFileSync(join(folder, 'landmarks.csv'), 'utf8');
  const placement = placeScan(scan, survey, { name: 'landmarks.csv', text });
  const plan = planPlates(placement.voxel_to_die_um, field.box, survey.shape.nz);
  const layers = labelPlates(loaded.process, placement, plan);
  if (trueHeights) {
    const truth = JSON.parse(readFileSync(join(folder, 'truth.json'), 'utf8')) as TrueHeights;
    for (const span of layers.layers) {
      const own = truth.layers.find((l) => l.name === span.name);
      if (own) Object.assign(span, { bottom_um: own.bottom_um, top_um: own.top_um, sd_um: 0.02 });
    }
  }
  const dieToVoxel = invert3(placement.voxel_to_die_um);
  const volume = await openVolume(spec, { nameOf: (file) => file });
  const slices: VoxelArray[] = [];
  for (let k = 0; k < volume.shape.nz; k++) slices.push(await volume.read({ k: [k, k + 1] }));
  await volume.close();
  const source = { ...volume.shape, slice: (k: number) => slices[k]!, mask: field.mask };
  const pixels = plan.grid.width_px * plan.grid.height_px;
  const plate = new Float32Array(pixels);
  const portraits = portraitRanges(layers).map((range) => {
    const values = new Float32Array(pixels);
    const count = range.last - range.first + 1;
    for (let z = range.first; z <= range.last; z++) {
      resamplePlate(source, dieToVoxel, plan.grid, plan.zUm[z]!, plate);
      for (let n = 0; n < pixels; n++) values[n]! += plate[n]! / count;
    }
    return { ...range, values };
  });
  const from = performance.now();
  const measured = await measureScan({
    ...{ placement, process: loaded.process, drawing: layout, layers, portraits },
    ...{ grid: plan.grid, stepUm: plan.stepUm, zUm: plan.zUm, unit: survey.grey.unit },
    acquisition: scan.acquisition ?? null,
    source: {
      ...{ spec, voxelToDieUm: placement.voxel_to_die_um, mask: field.mask },
      ...{ brokenSlices: survey.broken_slices, nameOf: (file: string) => file },
    },
  });
  return { measured, pixelUm: plan.grid.pixel_um, seconds: (performance.now() - from) / 1000 };
}
