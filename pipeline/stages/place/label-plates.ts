/** Which layer a plate shows, from the heights of the process table seen through the placement. */
import type { LayerSpan, Layers, PlateLabel } from '../../../shared/artefacts/layers.ts';
import type { Placement } from '../../../shared/artefacts/placement.ts';
import type { Process, ProcessLayer } from '../../../shared/artefacts/process.ts';
import type { PlatePlan } from './plan-plates.ts';

/**
 * Standard deviation of a layer's thickness relative to its nominal value. Fabs hold thicknesses to about ten per
 * cent at the worst (common practice, no source); half of that is taken as one standard deviation.
 */
const THICKNESS_SD = 0.05;

/**
 * Labels by nominal heights. `confidence` of a plate is the probability that it lies between the two boundaries, each
 * normally distributed about its nominal height; of a layer, the probability that its middle is inside it.
 */
export function labelPlates(process: Process | null, placement: Placement, plan: PlatePlan): Layers {
  const bare = plan.zUm.map((z_um, index) => ({
    index,
    z_um,
    slice: plan.slice[index]!,
    layer: null,
    confidence: 0,
  }));
  if (!process || placement.source === 'none') return { version: 1, basis: 'none', layers: [], plates: bare };
  const zSd = placement.uncertainty_um?.z ?? 0;
  const low = plan.zUm[0]! - plan.stepUm / 2;
  const high = plan.zUm.at(-1)! + plan.stepUm / 2;
  const layers = process.layers.map((layer): LayerSpan => {
    const top = layer.bottom_um + layer.thickness_um;
    const sd = Math.hypot(zSd, THICKNESS_SD * layer.thickness_um);
    const outside = top <= low || layer.bottom_um >= high;
    return {
      name: layer.name,
      role: layer.role,
      bottom_um: layer.bottom_um,
      top_um: top,
      sd_um: sd,
      nominal_bottom_um: layer.bottom_um,
      nominal_top_um: top,
      confidence: within((layer.bottom_um + top) / 2, layer.bottom_um, top, sd),
      seen: outside ? 'outside' : layer.bottom_um >= low && top <= high ? 'whole' : 'cut',
    };
  });
  const plates = plan.zUm.map((z, index): PlateLabel => {
    const base = { index, z_um: z, slice: plan.slice[index]! };
    const odds = layers.map((layer) => within(z, layer.bottom_um, layer.top_um, layer.sd_um));
    const best = strongest(process.layers, odds);
    if (best >= 0 && odds[best]! >= 0.5) {
      return { ...base, layer: layers[best]!.name, confidence: odds[best]! };
    }
    const below = layers.filter((l) => l.top_um <= z).sort((p, q) => q.top_um - p.top_um)[0];
    const above = layers.filter((l) => l.bottom_um > z).sort((p, q) => p.bottom_um - q.bottom_um)[0];
    const between = [below, above].flatMap((l) => (l ? [l.name] : []));
    return { ...base, layer: null, between, confidence: 1 - Math.max(0, ...odds) };
  });
  return { version: 1, basis: 'nominal', layers, plates };
}

/** The likeliest layer; a conductor goes before the via that stands beside it at the same height. */
export function strongest(layers: readonly ProcessLayer[], odds: readonly number[]): number {
  let best = -1;
  for (let n = 0; n < odds.length; n++) {
    if (odds[n]! < 0.5) continue;
    if (best < 0) best = n;
    else if (rank(layers[n]!) > rank(layers[best]!)) best = n;
    else if (rank(layers[n]!) === rank(layers[best]!) && odds[n]! > odds[best]!) best = n;
  }
  return best;
}

const rank = (layer: ProcessLayer): number => (layer.role === 'conductor' ? 2 : layer.role === 'via' ? 1 : 0);

/** Probability that a height lies between two faces that are normally distributed, each for itself. */
export function within(z: number, bottom: number, top: number, sd: number, topSd = sd): number {
  if (sd <= 0 || topSd <= 0) return z >= bottom && z < top ? 1 : 0;
  return normal((z - bottom) / sd) * normal((top - z) / topSd);
}

/**
 * Cumulative normal distribution, absolute error below 1.5e-7.
 * @source Abramowitz and Stegun, Handbook of Mathematical Functions, 7.1.26.
 */
export function normal(x: number): number {
  const u = Math.abs(x) / Math.SQRT2;
  const t = 1 / (1 + 0.3275911 * u);
  const series =
    t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429))));
  const tail = 0.5 * series * Math.exp(-u * u);
  return x >= 0 ? 1 - tail : tail;
}
