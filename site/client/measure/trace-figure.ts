/** The profile behind a reading as a small plot: greys along the path, edges as found, edges as drawn. */
import type { Trace } from '../../lib/measuring/evaluate.ts';
import { type PlotArea, plotScale, polylines, type Series } from '../../lib/plot.ts';
import { tickLabel } from '../../lib/scale-bar.ts';
import { make } from '../svg-element.ts';

const AREA: PlotArea = { width: 300, height: 168, left: 40, top: 8, right: 294, bottom: 130 };

/**
 * @param pixelUm micrometres per pixel along the path
 * @param greyValue grey to the unit of the volume
 */
export function traceFigure(
  trace: Trace,
  pixelUm: number,
  greyValue: (grey: number) => number,
  unit: string,
  axis: string,
): SVGElement {
  const { profile } = trace;
  const nm = 1000 * pixelUm;
  const series: Series = {
    ...{ name: 'grey', look: 'line' },
    x: Array.from(profile.values, (_, n) => n * profile.stepPx * nm),
    y: Array.from(profile.values, (v) => greyValue(v)),
  };
  const scale = plotScale([series], AREA, { x: [0, series.x.at(-1)! || 1] });
  const svg = make('svg', {
    ...{ class: 'trace', role: 'img', viewBox: `0 0 ${AREA.width} ${AREA.height}` },
    'aria-label': `Greys along ${Math.round(series.x.at(-1)!)} nm${
      trace.edgesPx.length > 0
        ? `, edges found at ${trace.edgesPx.map((at) => Math.round(at * nm)).join(', ')} nm`
        : ''
    }.`,
  });
  for (const v of scale.yTicks.values) {
    const y = scale.placeY(v);
    svg.append(make('line', { class: 'grid', x1: AREA.left, x2: AREA.right, y1: y, y2: y }));
  }
  const [low, high] = [scale.yTicks.values[0], scale.yTicks.values.at(-1)];
  for (const v of [low, high]) {
    if (v === undefined) continue;
    const at = { x: AREA.left - 4, y: scale.placeY(v) + 4, 'text-anchor': 'end' };
    svg.append(make('text', at, tickLabel(v, scale.yTicks.decimals)));
  }
  for (const v of scale.xTicks.values) {
    const at = { x: scale.placeX(v), y: AREA.bottom + 14, 'text-anchor': 'middle' };
    svg.append(make('text', at, tickLabel(v, scale.xTicks.decimals)));
  }
  svg.append(make('text', { x: AREA.right, y: AREA.height - 4, 'text-anchor': 'end' }, axis));
  svg.append(make('text', { x: 2, y: AREA.height - 4 }, unit));
  for (const [name, list] of [
    ['drawn', trace.drawnPx],
    ['found', trace.edgesPx],
  ] as const)
    for (const at of list) {
      const x = scale.placeX(at * nm);
      svg.append(make('line', { class: name, x1: x, x2: x, y1: AREA.top, y2: AREA.bottom }));
    }
  for (const points of polylines(series, scale, AREA))
    svg.append(make('polyline', { class: 'grey', points }));
  return svg;
}
