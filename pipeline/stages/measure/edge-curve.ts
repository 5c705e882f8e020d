/** The mean edge of a layer, for the plot: many edges laid over each other at their fitted positions. */
import type { Measurements } from '../../../shared/artefacts/measurements.ts';
import { normalCdf } from '../../../shared/profile/normal.ts';
import type { SiteYield } from './fit-site.ts';
import type { LayerInput } from './layer-input.ts';
import { isLine } from './sites.ts';

const REACH_PX = 6;
const BINS_PER_PX = 4;
const LEAST_EDGES = 10;

export function edgeCurve(
  input: LayerInput,
  yields: readonly SiteYield[],
  blurPx: number,
  pixelUm: number,
): Measurements['edge_spread'] {
  const bins = 2 * REACH_PX * BINS_PER_PX + 1;
  const sum = new Float64Array(bins);
  const count = new Float64Array(bins);
  let used = 0;
  yields.forEach(({ site, line, edge }, n) => {
    const at = edge?.atPx ?? line?.leftPx;
    if (at === undefined) return;
    const { drawnPx, own } = site;
    const inside = isLine(site) ? drawnPx[own]![1] - drawnPx[own]![0] : REACH_PX * 2;
    const before = own > 0 ? drawnPx[own]![0] - drawnPx[own - 1]![1] : REACH_PX * 2;
    if (inside < REACH_PX + 3 * blurPx || before < REACH_PX + 3 * blurPx) return;
    const profile = input.profiles[n];
    if (!profile) return;
    const level = (from: number, to: number): number => {
      let [s, c] = [0, 0];
      for (let i = 0; i < profile.values.length; i++) {
        const d = i * profile.stepPx - at;
        if (d < from || d > to) continue;
        s += profile.values[i]!;
        c++;
      }
      return s / c;
    };
    const low = level(-3.5 * blurPx, -2.5 * blurPx);
    const high = level(2.5 * blurPx, 3.5 * blurPx);
    if (!Number.isFinite(high - low) || high === low) return;
    used++;
    for (let i = 0; i < profile.values.length; i++) {
      const bin = Math.round((i * profile.stepPx - at + REACH_PX) * BINS_PER_PX);
      if (bin < 0 || bin >= bins) continue;
      sum[bin]! += (profile.values[i]! - low) / (high - low);
      count[bin]!++;
    }
  });
  if (used < LEAST_EDGES) return null;
  const kept = [...sum.keys()].filter((n) => count[n]! > 0);
  const at = kept.map((n) => n / BINS_PER_PX - REACH_PX);
  return {
    layer: input.layer.name,
    at_um: at.map((v) => v * pixelUm),
    share: kept.map((n) => sum[n]! / count[n]!),
    model: at.map((v) => normalCdf(v / blurPx)),
  };
}
