/** Round lengths: the scale bar under a picture and the ticks along its edges. */
import { formatFixed } from './numbers.ts';

export interface ScaleBar {
  readonly lengthUm: number;
  readonly px: number;
  readonly label: string;
}

/** Largest of 1, 2, 5 times a power of ten that is not above `limit`. */
export function roundDown(limit: number): number {
  const power = 10 ** Math.floor(Math.log10(limit));
  // A hair of slack: 0.2 / 0.1 must count as 2 in spite of binary fractions.
  const mantissa = (limit / power) * (1 + 1e-9);
  return (mantissa >= 5 ? 5 : mantissa >= 2 ? 2 : 1) * power;
}

/** @param umPerPx micrometres per CSS pixel @param maxPx the bar is at most this long, and more than 2/5 of it */
export function chooseScaleBar(umPerPx: number, maxPx: number): ScaleBar {
  const lengthUm = roundDown(umPerPx * maxPx);
  return { lengthUm, px: lengthUm / umPerPx, label: roundLabel(lengthUm) };
}

/** Label of a round length: nm below one micrometre, mm from 1000 on. */
export function roundLabel(um: number): string {
  if (um >= 1000) return `${trimmed(um / 1000)}\u00a0mm`;
  if (um >= 1) return `${trimmed(um)}\u00a0µm`;
  return `${trimmed(um * 1000)}\u00a0nm`;
}

const trimmed = (value: number): string => String(Number(value.toPrecision(3)));

export interface Ticks {
  readonly stepUm: number;
  readonly values: readonly number[];
  readonly decimals: number;
}

/** Round positions between two ends, at most `most` of them; empty for an empty range. */
export function roundTicks(from: number, to: number, most: number): Ticks {
  const span = to - from;
  if (!(span > 0) || most < 1) return { stepUm: 0, values: [], decimals: 0 };
  // A hair of slack keeps a tick that stands exactly on an end.
  const first = (step: number): number => Math.ceil(from / step - 1e-9);
  const last = (step: number): number => Math.floor(to / step + 1e-9);
  let step = roundDown(span / most);
  while (last(step) - first(step) + 1 > most) step = roundUpFrom(step);
  const values: number[] = [];
  for (let n = first(step); n <= last(step); n++) values.push(n * step);
  return { stepUm: step, values, decimals: Math.max(0, -Math.floor(Math.log10(step * (1 + 1e-9)))) };
}

function roundUpFrom(step: number): number {
  const power = 10 ** Math.floor(Math.log10(step * (1 + 1e-9)));
  const mantissa = Math.round(step / power);
  return (mantissa === 1 ? 2 : mantissa === 2 ? 5 : 10) * power;
}

export const tickLabel = (value: number, decimals: number): string => formatFixed(value, decimals);
