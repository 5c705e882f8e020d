/** Grey values of tiles back to the unit of the volume. */
import type { GreyMap } from '../../shared/artefacts/plates.ts';
import { formatFixed } from './numbers.ts';

/** @param grey 0 to 255 @returns value in `map.unit`, linear between black and white */
export const valueOfGrey = (map: GreyMap, grey: number): number =>
  map.black + ((map.white - map.black) * grey) / 255;

/** The value with no more decimals than one grey step resolves. */
export function formatValue(map: GreyMap, grey: number): string {
  const step = Math.abs(map.white - map.black) / 255;
  const decimals = step > 0 ? Math.min(6, Math.max(0, Math.ceil(-Math.log10(step)))) : 0;
  const unit = map.unit === 'arbitrary' ? '(arbitrary unit)' : map.unit;
  return `${formatFixed(valueOfGrey(map, grey), decimals)}\u00a0${unit}`;
}
