/**
 * Thresholds by zone: beside strong metal the model is off by more, and in a heavier-tailed way, than in the open. Each
 * zone learns from its own decoys, so that a few vias of tungsten do not blind a layer of aluminium.
 */
import type { Difference, Field } from './box-fit.ts';
import type { PixelBox } from './canvas.ts';
import { type FalseAlarms, falseAlarms } from './odds.ts';

/** Coverage that weighs less than this share of what it usually weighs lies beside strong metal. */
const BESIDE = 0.7;
/** Zones of a smaller share of the field are not told apart. */
const LEAST_SHARE = 0.005;

export interface Zones {
  readonly open: ZoneAlarms;
  readonly beside: ZoneAlarms;
  /** Trust that parts them. */
  readonly trust: number;
}

export interface ZoneAlarms {
  readonly alarms: FalseAlarms;
  readonly thresholdZ: number;
}

const trustAt = ({ trust, width }: Pick<Field, 'trust' | 'width'>, d: PixelBox): number => {
  let [sum, count] = [0, 0];
  for (let y = d.y0; y < d.y1; y++)
    for (let x = d.x0; x < d.x1; x++) {
      sum += trust[y * width + x]!;
      count++;
    }
  return sum / count;
};

/**
 * @param decoys of the whole layer, complete from `searchedFrom` up
 * @param allowed false differences expected in the whole layer
 */
export function zonesOf(
  field: Field,
  decoys: readonly Difference[],
  searchedFrom: number,
  allowed: number,
): Zones {
  const values = field.trust.filter((_, n) => field.judged[n] !== 0).sort();
  const trust = BESIDE * (values[values.length >> 1] ?? 0);
  const share = values.findIndex((v) => v >= trust) / Math.max(values.length, 1);
  const zone = (own: readonly Difference[], part: number): ZoneAlarms => {
    const alarms = falseAlarms(own, searchedFrom);
    return { alarms, thresholdZ: alarms.threshold(part) };
  };
  if (share < LEAST_SHARE) {
    const all = zone(decoys, allowed);
    return { open: all, beside: all, trust: 0 };
  }
  const beside = decoys.filter((d) => trustAt(field, d) < trust);
  const open = decoys.filter((d) => !beside.includes(d));
  return { open: zone(open, allowed / 2), beside: zone(beside, allowed / 2), trust };
}

export const zoneAt = (zones: Zones, field: Pick<Field, 'trust' | 'width'>, d: PixelBox): ZoneAlarms =>
  zones.trust > 0 && trustAt(field, d) < zones.trust ? zones.beside : zones.open;

/** Lowest threshold anywhere on the layer. */
export const leastThreshold = ({ open, beside }: Zones): number =>
  Math.min(open.thresholdZ, beside.thresholdZ);
