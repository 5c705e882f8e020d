/** From measured levels to what layers.json says of layers and plates. */
import type { LayerSpan, Layers, PlateLabel } from '../../../../shared/artefacts/layers.ts';
import type { Process } from '../../../../shared/artefacts/process.ts';
import { strongest, within } from '../label-plates.ts';
import type { PlatePlan } from '../plan-plates.ts';
import type { Ladder } from './levels.ts';

export interface MeasuredLevels {
  readonly ladder: Ladder;
  readonly heightsUm: ArrayLike<number>;
  readonly sdUm: ArrayLike<number>;
  /** For each layer: how far it stands out from what its drawing finds elsewhere; 0 where it was not seen. */
  readonly significance: readonly number[];
  /** What all heights have in common, at a height: one standard deviation, micrometres. */
  readonly commonSd: (zUm: number) => number;
}

/** A layer that was only reckoned from its neighbours is never surer than this. */
const RECKONED_MOST = 0.8;

const both = (a: number, b: number): number => Math.hypot(a, b) / Math.SQRT2;

/**
 * Standard deviations of boundaries are of their heights on the die: that of where they lie in the scan, and what all heights
 * have in common (zero and scale of the depth), combined as independent. Plates share what is common, so that what layer
 * they show depends on the first alone.
 * `confidence` of a layer: the probability that its middle lies between its two faces, times, where the image shows it,
 * the probability that what was seen is no chance; a layer reckoned from its neighbours is held to 0.8 at most.
 * `confidence` of a plate: the probability that it lies between the two faces, each normally distributed.
 */
export function labelMeasured(process: Process, levels: MeasuredLevels, plan: PlatePlan): Layers {
  const { ladder, heightsUm, sdUm, significance, commonSd } = levels;
  const low = plan.zUm[0]! - plan.stepUm / 2;
  const high = plan.zUm.at(-1)! + plan.stepUm / 2;
  const faces = process.layers.map((_, l) => {
    const [bottom, top] = [ladder.bottom[l]!, ladder.top[l]!];
    return {
      ...{ bottom: heightsUm[bottom]!, top: heightsUm[top]! },
      ...{ bottomSd: sdUm[bottom]!, topSd: sdUm[top]! },
    };
  });
  const odds = (z: number, l: number): number => {
    const { bottom, top, bottomSd, topSd } = faces[l]!;
    return within(z, bottom, top, bottomSd, topSd);
  };
  const layers = process.layers.map((layer, l): LayerSpan => {
    const { bottom, top, bottomSd, topSd } = faces[l]!;
    const seen = significance[l]!;
    const middle = odds((bottom + top) / 2, l);
    const outside = top <= low || bottom >= high;
    return {
      name: layer.name,
      role: layer.role,
      bottom_um: bottom,
      top_um: top,
      sd_um: both(Math.hypot(bottomSd, commonSd(bottom)), Math.hypot(topSd, commonSd(top))),
      bottom_sd_um: Math.hypot(bottomSd, commonSd(bottom)),
      top_sd_um: Math.hypot(topSd, commonSd(top)),
      in_scan_sd_um: both(bottomSd, topSd),
      nominal_bottom_um: layer.bottom_um,
      nominal_top_um: layer.bottom_um + layer.thickness_um,
      confidence: seen > 0 ? middle * (1 - Math.exp(-seen / 1.5)) : Math.min(RECKONED_MOST, middle),
      seen: outside ? 'outside' : bottom >= low && top <= high ? 'whole' : 'cut',
      heights_from: seen > 0 ? 'image' : 'neighbours',
    };
  });
  const plates = plan.zUm.map((z, index): PlateLabel => {
    const base = { index, z_um: z, slice: plan.slice[index]! };
    const each = layers.map((_, l) => odds(z, l));
    const best = strongest(process.layers, each);
    if (best >= 0) return { ...base, layer: layers[best]!.name, confidence: each[best]! };
    const below = layers.filter((l) => l.top_um <= z).sort((p, q) => q.top_um - p.top_um)[0];
    const above = layers.filter((l) => l.bottom_um > z).sort((p, q) => p.bottom_um - q.bottom_um)[0];
    const between = [below, above].flatMap((l) => (l ? [l.name] : []));
    return { ...base, layer: null, between, confidence: 1 - Math.max(0, ...each) };
  });
  return { version: 1, basis: 'measured', layers, plates };
}
