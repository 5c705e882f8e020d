/** What light sees of a drawing from above: each metal where no higher one covers it. */
import type { Process, ProcessLayer } from '../../../../shared/artefacts/process.ts';
import { gridBoxUm, type PlateGrid } from '../../../../shared/frames.ts';
import { shapesInWindow } from '../../../formats/layout/flatten.ts';
import type { DrawnLayer, Layout } from '../../../formats/layout.ts';
import { renderCoverage } from '../../../kernels/coverage.ts';
import { smooth, withoutSlow } from '../../../kernels/smooth.ts';

/** Metals from the top that are looked for; what lies below shows through at best as a texture. */
const MOST_LAYERS = 4;
/** A layer with less than this mean square shows nothing to match. */
const EMPTY = 2e-4;

export interface Visible {
  readonly grid: PlateGrid;
  /** From the top. */
  readonly layers: readonly {
    readonly name: string;
    readonly picture: Float32Array;
    /** Share of every pixel that shows the layer: slow changes still in. */
    readonly share: Float32Array;
  }[];
  /** Height of the highest metal that shows, micrometres. */
  readonly topUm: number;
}

/** @param slowUm standard deviation of the smoothing that is taken off */
export function visibleLayers(
  layout: Layout,
  top: string,
  process: Process,
  grid: PlateGrid,
  slowUm: number,
): Visible {
  const { width_px: width, height_px: height } = grid;
  const open = new Float32Array(width * height).fill(1);
  const one = Float32Array.from(open);
  const sigma = Math.max(2, slowUm / grid.pixel_um);
  const smoothed = smooth(Float32Array.from(one), width, height, sigma);
  const layers: { name: string; picture: Float32Array; share: Float32Array }[] = [];
  let topUm: number | null = null;
  for (const layer of metalsFromTop(process)) {
    if (layers.length === MOST_LAYERS) break;
    const polygons: Float64Array[] = [];
    for (const shape of shapesInWindow(layout, top, gridBoxUm(grid), drawnOf(layer)))
      polygons.push(shape.xyUm);
    if (polygons.length === 0) continue;
    const coverage = renderCoverage(polygons, grid);
    const seen = coverage.map((v, n) => v * open[n]!);
    for (let n = 0; n < open.length; n++) open[n] = open[n]! * (1 - coverage[n]!);
    const picture = withoutSlow(seen, one, smoothed, width, height, sigma);
    if (picture.reduce((sum, v) => sum + v * v, 0) / picture.length < EMPTY) continue;
    layers.push({ name: layer.name, picture, share: seen });
    topUm ??= layer.bottom_um + layer.thickness_um;
  }
  return { grid, layers, topUm: topUm ?? 0 };
}

const drawnOf = (layer: ProcessLayer): ReadonlySet<DrawnLayer> =>
  new Set([...layer.drawn, ...(layer.fill ?? [])] as DrawnLayer[]);

const metalsFromTop = (process: Process): ProcessLayer[] =>
  process.layers
    .filter((layer) => layer.role === 'conductor' && layer.drawn.length > 0)
    .sort((a, b) => b.bottom_um - a.bottom_um);
