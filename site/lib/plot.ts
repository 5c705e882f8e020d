/** Arithmetic of line plots: from values to places on the drawing, and what is said of it in words. */
import { roundTicks, type Ticks } from './scale-bar.ts';

export interface Series {
  readonly name: string;
  readonly x: readonly number[];
  readonly y: readonly number[];
  /** Half-width of the 95 % interval of each value; drawn as bars where given. */
  readonly half?: readonly number[];
  readonly look: 'line' | 'dashed' | 'dotted' | 'points';
}

export interface PlotArea {
  readonly width: number;
  readonly height: number;
  readonly left: number;
  readonly top: number;
  readonly right: number;
  readonly bottom: number;
}

export const PLOT: PlotArea = { width: 520, height: 300, left: 52, top: 12, right: 508, bottom: 258 };

export interface PlotScale {
  readonly xTicks: Ticks;
  readonly yTicks: Ticks;
  readonly placeX: (value: number) => number;
  readonly placeY: (value: number) => number;
}

const spread = (values: readonly number[]): [number, number] => {
  let [low, high] = [Infinity, -Infinity];
  for (const v of values) {
    if (v < low) low = v;
    if (v > high) high = v;
  }
  return [low, high];
};

/** Range of all series with a little air; error bars count. A range without extent gets some. */
export function plotRange(values: readonly number[], air = 0.05): readonly [number, number] {
  const [low, high] = spread(values.filter(Number.isFinite));
  if (!(high >= low)) return [0, 1];
  const room = high > low ? (high - low) * air : Math.max(Math.abs(high) * 0.1, 1e-9);
  return [low - room, high + room];
}

export function plotScale(
  series: readonly Series[],
  area: PlotArea,
  fixed: { readonly x?: readonly [number, number]; readonly y?: readonly [number, number] } = {},
): PlotScale {
  const x = fixed.x ?? plotRange(series.flatMap((s) => s.x));
  const y =
    fixed.y ??
    plotRange(
      series.flatMap((s) => s.y.flatMap((v, n) => (s.half ? [v - s.half[n]!, v + s.half[n]!] : [v]))),
      0.08,
    );
  return {
    xTicks: roundTicks(x[0], x[1], 7),
    yTicks: roundTicks(y[0], y[1], 6),
    placeX: (v) => area.left + ((v - x[0]) / (x[1] - x[0])) * (area.right - area.left),
    placeY: (v) => area.bottom - ((v - y[0]) / (y[1] - y[0])) * (area.bottom - area.top),
  };
}

/** Points of a polyline, to a tenth of a unit; values outside the area are left out, and the line breaks there. */
export function polylines(series: Series, scale: PlotScale, area: PlotArea): string[] {
  const parts: string[][] = [[]];
  series.x.forEach((x, n) => {
    const px = scale.placeX(x);
    const py = scale.placeY(series.y[n]!);
    const inside =
      px >= area.left - 0.5 && px <= area.right + 0.5 && py >= area.top - 0.5 && py <= area.bottom + 0.5;
    if (inside) parts.at(-1)!.push(`${px.toFixed(1)},${py.toFixed(1)}`);
    else if (parts.at(-1)!.length > 0) parts.push([]);
  });
  return parts.filter((part) => part.length > 1).map((part) => part.join(' '));
}
