/** Resolution by several methods, on the layer that shows it best. */
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
  const { grid, stepUm, zUm } = job;
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
  const chosen = bestLayer(job, measured);
  let depth: DepthSpread | null = null;
  let halves: Halves | null = null;
  if (chosen) {
    const { portrait, seen } = chosen;
    const beyond = seen
      ? Math.ceil((BEYOND * (seen.input.span.top_um - seen.input.span.bottom_um)) / stepUm)
      : 0;
    const first = Math.max(0, portrait.first - beyond);
    const last = Math.min(zUm.length - 1, portrait.last + beyond);
    const block = await readBlock(job.source, grid, zUm.slice(first, last + 1));
    halves = compareHalves(portrait.name, block, portrait.first - first, portrait.last - first);
    if (seen?.blur)
      depth = depthSpread(seen.input, block, stepUm, seen.blur.sdPx, Math.sign(seen.contrast?.contrast ?? 1));
  }
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

/** The layer with the most plates among those whose edges were seen; without a drawing, the middle fifth of the scan. */
function bestLayer(
  job: MeasureJob,
  measured: readonly MeasuredLayer[],
): { portrait: Pick<LayerPortrait, 'name' | 'first' | 'last'>; seen: MeasuredLayer | null } | null {
  const seen = measured.filter((m) => m.optics && m.result.widths.length > 0);
  const worth = (m: MeasuredLayer) =>
    Math.min(12, m.input.portrait.last - m.input.portrait.first + 1) *
    Math.abs((m.result.image?.contrast ?? 0) / (m.result.image?.noise ?? 1)) *
    Math.sqrt(m.input.sites.length);
  const best = seen.sort((a, b) => worth(b) - worth(a))[0];
  if (best) return { portrait: best.input.portrait, seen: best };
  const count = job.zUm.length;
  if (count < 8) return null;
  const first = Math.floor(count * 0.45);
  const last = Math.min(count - 1, Math.max(first + 7, Math.floor(count * 0.55)));
  return { portrait: { name: 'the middle of the scan', first, last }, seen: null };
}
