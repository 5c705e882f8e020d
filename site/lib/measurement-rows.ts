/** What the measurements page prints of measurements.json: rows in a fixed order, lengths with their 95 % interval. */
import type {
  LayerMeasurements,
  Measurements,
  Quantity,
  Roughness,
} from '../../shared/artefacts/measurements.ts';
import { formatFixed } from './numbers.ts';
import type { Series } from './plot.ts';

const NBSP = '\u00a0';

/** Decimals at which the half-width of an interval shows two figures, nanometres, none to two. */
function decimalsFor(halfNm: number): number {
  if (!(halfNm > 0)) return 1;
  return Math.min(2, Math.max(0, 1 - Math.floor(Math.log10(halfNm))));
}

/** "152 ± 6 nm"; value and interval to the same decimals. @source JCGM 100:2008 7.2.6: two figures of the uncertainty. */
export function plusMinus(valueUm: number, halfUm: number): string {
  const decimals = decimalsFor(halfUm * 1000);
  return `${formatFixed(valueUm * 1000, decimals)}${NBSP}±${NBSP}${formatFixed(halfUm * 1000, decimals)}${NBSP}nm`;
}

export const inNm = (um: number, decimals = 0): string => `${formatFixed(um * 1000, decimals)}${NBSP}nm`;

export interface QuantityRow {
  readonly what: string;
  readonly quantity: Quantity;
}

export function quantityRows(layer: LayerMeasurements): QuantityRow[] {
  const rows = (what: string, list: readonly (Quantity | null)[]): QuantityRow[] =>
    list.flatMap((quantity) => (quantity ? [{ what, quantity }] : []));
  return [
    ...rows('Line width', layer.widths),
    ...rows('Space', layer.spaces),
    ...rows('Pitch', layer.pitches),
    ...layer.vias.flatMap((via) => [
      ...rows('Via, x', [via.x]),
      ...rows('Via, y', [via.y]),
      ...rows('Via, by area', [via.side]),
    ]),
    ...rows('Thickness', [layer.thickness]),
  ];
}

/** Imaged minus drawn against drawn, in nanometres, one series per kind, each with its 95 % interval. */
export function biasSeries(measured: Measurements): Series[] {
  const kinds: [string, (layer: LayerMeasurements) => readonly Quantity[]][] = [
    ['line width', (l) => l.widths],
    ['space', (l) => l.spaces],
    ['via, x and y', (l) => l.vias.flatMap((v) => [v.x, v.y])],
  ];
  return kinds.flatMap(([name, of]): Series[] => {
    const list = measured.layers.flatMap(of).filter((q) => q.drawn_um !== null);
    if (list.length === 0) return [];
    return [
      {
        ...{ name, look: 'points' as const, x: list.map((q) => q.drawn_um! * 1000) },
        y: list.map((q) => (q.value_um - q.drawn_um!) * 1000),
        half: list.map((q) => q.expanded_um * 1000),
      },
    ];
  });
}

/** Every n-th value, so that a table behind a plot stays readable. */
export function thin(values: readonly number[], most = 160): number[] {
  const step = Math.ceil(values.length / most);
  return values.filter((_, n) => n % step === 0);
}

export function roughnessWords(one: Roughness | null): string {
  if (!one) return '–';
  const limit = `at most ${inNm(one.at_most_um, 1)}`;
  return one.resolved ? `${inNm(one.three_sigma_um, 1)}, ${limit}` : `not told from noise; ${limit}`;
}
