/** Resolution by several methods, on the layer that shows it best. */

import type { Layers } from '../../../shared/artefacts/layers.ts';
import type { Measurements } from '../../../shared/artefacts/measurements.ts';
import { TEN_TO_NINETY } from '../../../shared/profile/normal.ts';
import { type DepthSpread, depthSpread } from './depth-spread.ts';
import { edgeCurve } from './edge-curve.ts';
import { compareHalves, type Halves } from './halves.ts';
import type { LayerPortrait } from './layer-input.ts';
import type { MeasuredLayer } from './measure-layer.ts';
import type { MeasureJob } from './measure-scan.ts';
import { readBlock } from './scan-block.ts';

type Resolution = Measurements['resolution'][number];

export interface ResolutionResults {
  readonly list: Resolution[];
  readonly edge: Measurements['edge_spread'];
  readonly depth: Measurements['depth_spread'];
  readonly rings: Measurements['ring_correlation'];
  readonly doubts: string[];
}

/** Plates beyond the faces of a layer that the depth profile takes in, as a share of its thickness. */
const BEYOND = 0.8;

export async function measureResolution(
  job: MeasureJob,
  measured: readonly MeasuredLayer[],
): Promise<ResolutionResults> {
  const { grid } = job;
  const list: Resolution[] = [];
  const doubts: string[] = [];
  const edged = measured.filter((m) => m.blur && m.result.image?.blur_from === 'edges of this layer');
  const sharpest = edged.reduce<MeasuredLayer | null>(
    (best, m) => (best && best.blur!.n >= m.blur!.n ? best : m),
    null,
  );
  for (const { blur, result } of edged)
    list.push({
      ...{
        method: 'edge-spread',
        name: 'Edge spread, 10 to 90 %',
        direction: 'in-plane',
        layer: result.name,
      },
      um: TEN_TO_NINETY * blur!.sdPx * grid.pixel_um,
      uncertainty_um: TEN_TO_NINETY * blur!.uncertaintyPx * grid.pixel_um,
      text: `Median over ${blur!.n} edges.`,
    });
  const halves = await bestHalves(job, measured);
  const depth = await narrowestInDepth(job, measured);
  if (depth)
    list.push({
      ...{ method: 'depth-spread', name: 'Edge spread, 10 to 90 %', direction: 'depth' },
      ...{ layer: depth.curve.layer, um: depth.um, uncertainty_um: depth.uncertaintyUm },
      text: `On lines of about ${(depth.lineUm * 1000).toFixed(0)} nm; narrower ones are finer in depth, wide ones have no edge in depth.`,
    });
  if (halves) list.push(...ringEntries(halves));
  else
    doubts.push(
      'No ring correlation: no layer has enough plates, or none a square without gaps in the data.',
    );
  return {
    ...{ list, doubts },
    edge: sharpest ? edgeCurve(sharpest.input, sharpest.yields, sharpest.blur!.sdPx, grid.pixel_um) : null,
    depth: depth?.curve ?? null,
    rings: halves?.curve ?? null,
  };
}

function ringEntries(halves: Halves): Resolution[] {
  const entry = (name: string, um: number | null): Resolution => ({
    ...{ method: 'ring-correlation', name, direction: 'in-plane', layer: halves.curve.layer },
    ...{ um: um ?? halves.nyquistUm, uncertainty_um: null },
    text:
      um === null
        ? 'The curve stays above the threshold to the last ring: the voxel, not the image, sets the limit.'
        : `Half period. ${um < 1.5 * halves.nyquistUm ? 'Finer than two thirds of the highest frequency the voxels carry: not to be claimed.' : ''}`.trim(),
  });
  return [
    entry('Ring correlation, half bit', halves.halfBitUm),
    entry('Ring correlation, 1/7', halves.seventhUm),
  ];
}

/** The layer with the narrowest measured lines: the missing cone leaves those the sharpest faces. */
async function narrowestInDepth(
  { grid, stepUm, zUm, source }: MeasureJob,
  measured: readonly MeasuredLayer[],
): Promise<DepthSpread | null> {
  const narrow = measured
    .filter((m) => m.blur && m.contrast && m.input.span.seen === 'whole' && m.result.width)
    .sort((a, b) => a.result.width!.value_um - b.result.width!.value_um);
  for (const { input, blur, contrast } of narrow.slice(0, 2)) {
    const { first, last } = input.portrait;
    const beyond = Math.ceil((BEYOND * (input.span.top_um - input.span.bottom_um)) / stepUm);
    const heights = zUm.slice(Math.max(0, first - beyond), Math.min(zUm.length, last + beyond + 1));
    const block = await readBlock(source, grid, heights);
    const found = depthSpread(input, block, stepUm, blur!.sdPx, Math.sign(contrast!.contrast));
    if (found) return found;
  }
  return null;
}

type Run = Pick<LayerPortrait, 'name' | 'first' | 'last'>;

/**
 * Halves of the layer whose edges speak loudest and finest: a coarse one holds no fine detail to agree on. Where no edges were measured, of the run of plates whose halves agree
 * to the finest detail: the conductors where the layers are known, else runs spread over the depth.
 */
async function bestHalves(
  { zUm, grid, source, layers }: MeasureJob,
  measured: readonly MeasuredLayer[],
): Promise<Halves | null> {
  const compare = async ({ name, first, last }: Run, mostVoxels?: number): Promise<Halves | null> => {
    const block = await readBlock(source, grid, zUm.slice(first, last + 1), mostVoxels);
    return compareHalves(name, block, 0, last - first);
  };
  const worth = (m: MeasuredLayer) =>
    (Math.sqrt(Math.min(12, m.input.portrait.last - m.input.portrait.first + 1) * m.input.sites.length) *
      Math.abs((m.result.image?.contrast ?? 0) / (m.result.image?.noise ?? 1))) /
    m.result.widths[0]!.value_um;
  const seen = measured.filter((m) => m.optics && m.result.widths.length > 0);
  const best = seen.sort((a, b) => worth(b) - worth(a))[0];
  if (best) return compare(best.input.portrait);
  const runs = layers.layers.length > 0 ? conductorRuns(layers) : spreadRuns(zUm.length);
  let finest: Halves | null = null;
  for (const run of runs) {
    const halves = await compare(run, SEARCH_VOXELS / runs.length);
    if (halves?.halfBitUm && !(finest && finest.halfBitUm! <= halves.halfBitUm)) finest = halves;
  }
  return finest;
}

/** Voxels looked at in all runs together. */
const SEARCH_VOXELS = 6e6;
const RUN_PLATES = 9;
const MOST_RUNS = 12;

const conductorRuns = (layers: Layers): Run[] =>
  layers.layers.flatMap((layer) => {
    const own = layers.plates.filter((plate) => plate.layer === layer.name);
    return layer.role === 'conductor' && own.length > 0
      ? [{ name: layer.name, first: own[0]!.index, last: own.at(-1)!.index }]
      : [];
  });

function spreadRuns(plates: number): Run[] {
  const count = Math.min(MOST_RUNS, Math.floor(plates / RUN_PLATES));
  return Array.from({ length: count }, (_, n) => {
    const first = Math.floor(((n + 0.5) * plates) / count - RUN_PLATES / 2);
    const last = first + RUN_PLATES - 1;
    return { name: `plates ${first} to ${last}`, first, last };
  });
}
