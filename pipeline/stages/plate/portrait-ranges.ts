/** Which plates make up the portrait of a layer. */
import type { Layers } from '../../../shared/artefacts/layers.ts';

export interface PortraitRange {
  readonly name: string;
  /** Plate numbers, inclusive. */
  readonly first: number;
  readonly last: number;
}

/**
 * Plates that lie inside a layer by more than the doubt about its faces; where a layer is thinner than that doubt,
 * the plate nearest its middle.
 */
export function portraitRanges(layers: Layers): PortraitRange[] {
  const ranges: PortraitRange[] = [];
  for (const layer of layers.layers) {
    if (layer.seen === 'outside') continue;
    const doubt = layer.in_scan_sd_um ?? layer.sd_um;
    const inside = layers.plates.filter(
      (plate) => plate.z_um >= layer.bottom_um + doubt && plate.z_um <= layer.top_um - doubt,
    );
    const middle = (layer.bottom_um + layer.top_um) / 2;
    const chosen =
      inside.length > 0
        ? inside
        : [layers.plates.reduce((a, b) => (Math.abs(b.z_um - middle) < Math.abs(a.z_um - middle) ? b : a))];
    ranges.push({ name: layer.name, first: chosen[0]!.index, last: chosen.at(-1)!.index });
  }
  return ranges;
}
