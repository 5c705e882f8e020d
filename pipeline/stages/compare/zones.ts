/**
 * Thresholds by zone: beside strong metal, and along the rim of the field, the model is off by more, and in a
 * heavier-tailed way, than in the open. Each zone learns from its own decoys, so that a few vias of tungsten do not
 * blind a layer of aluminium, nor unknown fill beyond the rim a whole layer.
 */
import { upperMedian } from '../../kernels/statistics.ts';
import type { Difference, Field } from './box-fit.ts';
import type { PixelBox } from './canvas.ts';
import { type FalseAlarms, falseAlarms } from './odds.ts';

/** Coverage that weighs less than this share of what it usually weighs lies beside strong metal. */
const BESIDE = 0.7;
/** Share of the false differences allowed that the rim may bring. */
const RIM_SHARE = 0.15;
/** Zones of a smaller share of the field are not told apart. */
const LEAST_SHARE = 0.005;

export interface Zones {
  readonly open: ZoneAlarms;
  readonly beside: ZoneAlarms;
  readonly rim: ZoneAlarms;
  /** Trust that parts the open from what lies beside strong metal; 0 where there is none. */
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

type Ground = Pick<Field, 'trust' | 'width' | 'rim'>;

const onRim = ({ rim, width }: Ground, d: PixelBox): boolean => {
  if (!rim) return false;
  for (let y = d.y0; y < d.y1; y++)
    for (let x = d.x0; x < d.x1; x++) if (rim[y * width + x] !== 0) return true;
  return false;
};

const zoneNameAt = (trust: number, field: Ground, d: PixelBox): 'open' | 'beside' | 'rim' =>
  onRim(field, d) ? 'rim' : trust > 0 && trustAt(field, d) < trust ? 'beside' : 'open';

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
  const { judged } = field;
  const { median, count } = upperMedian(field.trust, (n) => judged[n] !== 0);
  const parting = count > 0 ? BESIDE * median : 0;
  let below = 0;
  for (let n = 0; n < judged.length; n++) if (judged[n] !== 0 && field.trust[n]! < parting) below++;
  const share = below / Math.max(count, 1);
  const trust = share < LEAST_SHARE ? 0 : parting;
  const zone = (name: 'open' | 'beside' | 'rim', part: number): ZoneAlarms => {
    const own = decoys.filter((d) => zoneNameAt(trust, field, d) === name);
    const alarms = falseAlarms(own, searchedFrom);
    return { alarms, thresholdZ: alarms.threshold(part * allowed) };
  };
  const inner = (field.rim ? 1 - RIM_SHARE : 1) / (trust > 0 ? 2 : 1);
  const open = zone('open', inner);
  const beside = trust > 0 ? zone('beside', inner) : open;
  if (!field.rim) return { open, beside, rim: open, trust };
  // The rim is small and its decoys few: what they do not show is not less than elsewhere.
  const rim = zone('rim', RIM_SHARE);
  return { open, beside, rim: rim.thresholdZ > open.thresholdZ ? rim : open, trust };
}

export const zoneAt = (zones: Zones, field: Ground, d: PixelBox): ZoneAlarms =>
  zones[zoneNameAt(zones.trust, field, d)];

/** Lowest threshold anywhere on the layer. */
export const leastThreshold = ({ open, beside, rim }: Zones): number =>
  Math.min(open.thresholdZ, beside.thresholdZ, rim.thresholdZ);
