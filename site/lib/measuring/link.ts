/** Readings in the address of a viewer: what they are made from, so that whoever opens the link measures again. */
import { type PointUm, type ReadingInput, type ReadingKind, TOOLS } from './reading.ts';

/** More than these make an address that mail programs cut. */
export const MOST_IN_LINK = 6;
const MOST_CORNERS = 24;

/** Four decimals are a tenth of a nanometre: below any voxel. */
const shortest = (value: number): string => String(Number(value.toFixed(4)));

const optional = (value: number | null): string => (value === null ? '' : shortest(value));

/** "width~0.36~~103.2,86.5,2.4,104.1,86.5,2.4;..."; empty where there are none, or too many. */
export function encodeReadings(readings: readonly ReadingInput[]): string {
  if (readings.length > MOST_IN_LINK) return '';
  return readings
    .map(({ kind, average_um, pointing_um, points_um }) =>
      [kind, optional(average_um), optional(pointing_um), points_um.flat().map(shortest).join(',')].join('~'),
    )
    .join(';');
}

/** Reads what is sound; a broken part is left out, never guessed. */
export function parseReadings(text: string): ReadingInput[] {
  return text
    .split(';')
    .slice(0, MOST_IN_LINK)
    .flatMap((part): ReadingInput[] => {
      const [kind, average = '', pointing = '', points] = part.split('~');
      const tool = TOOLS.find((one) => one.kind === kind);
      if (!tool || points === undefined) return [];
      const numbers = points.split(',').map((one) => (one.trim() === '' ? Number.NaN : Number(one)));
      const count = numbers.length / 3;
      const fits = tool.points === 'many' ? count >= 3 : count === pointsOf(tool.kind);
      if (!fits || count > MOST_CORNERS || !numbers.every(Number.isFinite)) return [];
      const [average_um, pointing_um] = [average, pointing].map((one) => (one === '' ? null : Number(one)));
      if (![average_um, pointing_um].every((one) => one === null || (one! >= 0 && one! < 1000))) return [];
      const points_um: PointUm[] = [];
      for (let n = 0; n < numbers.length; n += 3)
        points_um.push([numbers[n]!, numbers[n + 1]!, numbers[n + 2]!]);
      return [{ kind: tool.kind, average_um: average_um!, pointing_um: pointing_um!, points_um }];
    });
}

/** Points that are kept for a reading: a thickness keeps both ends of the stretch it averages over. */
export function pointsOf(kind: ReadingKind): number {
  if (kind === 'thickness') return 2;
  const { points } = TOOLS.find((tool) => tool.kind === kind)!;
  return points === 'many' ? 3 : points;
}

/** Whether two readings are made from the same points. */
export const sameInput = (a: ReadingInput, b: ReadingInput): boolean =>
  encodeReadings([a]) === encodeReadings([b]);
