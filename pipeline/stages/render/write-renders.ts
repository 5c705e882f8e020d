/** The render stage: the drawing of each layer as exact area coverage on the plate grid, as a pyramid of tiles. */
import { join } from 'node:path';
import type { Pictures } from '../../../shared/artefacts/pictures.ts';
import type { Process } from '../../../shared/artefacts/process.ts';
import { gridBoxUm, type PlateGrid } from '../../../shared/frames.ts';
import { shapesInWindow } from '../../formats/layout/flatten.ts';
import type { DrawnLayer, Layout } from '../../formats/layout.ts';
import { renderCoverage } from '../../kernels/coverage.ts';
import type { Progress } from '../../output/progress.ts';
import { type PictureData, pyramidEnding, type TileKind, writePyramid } from '../../output/pyramid.ts';

type RenderEntry = NonNullable<Pictures['layers'][number]['render']>;

/**
 * @param hidden rows x columns of the grid, 1 where nothing may be shown; null where all may
 * @returns what pictures.json says of each render, by layer name; layers without a drawing have none
 */
export async function writeRenders(
  layout: Layout,
  top: string,
  process: Process,
  grid: PlateGrid,
  folder: string,
  label: string,
  progress: Progress,
  hidden: Uint8Array | null = null,
  tiles: TileKind = 'loose',
): Promise<Map<string, RenderEntry>> {
  const drawnLayers = process.layers.filter((layer) => layer.drawn.length > 0);
  const window = gridBoxUm(grid);
  const entries = new Map<string, RenderEntry>();
  const bar = progress.bar(`renders ${label}`, drawnLayers.length, 'layers');
  let shapes = 0;
  for (const layer of drawnLayers) {
    const polygons: Float64Array[] = [];
    for (const shape of shapesInWindow(layout, top, window, new Set(layer.drawn as DrawnLayer[]))) {
      polygons.push(shape.xyUm);
    }
    const coverage = renderCoverage(polygons, grid);
    let covered = 0;
    for (let n = 0; n < coverage.length; n++) {
      if (hidden?.[n] === 1) coverage[n] = 0;
      covered += coverage[n]!;
    }
    const path = `renders/${layer.name}.${pyramidEnding(tiles)}`;
    await writePyramid(join(folder, path), drawnPicture(coverage, grid, hidden), 'lossless');
    entries.set(layer.name, {
      path,
      coverage: Math.min(1, covered / coverage.length),
      shapes: polygons.length,
    });
    shapes += polygons.length;
    bar.advance();
  }
  bar.finish(`${shapes} shapes`);
  return entries;
}

/** White on black, transparent where something is withheld: nothing is said there, not that nothing is drawn. */
function drawnPicture(
  coverage: ArrayLike<number>,
  { width_px: width, height_px: height }: PlateGrid,
  hidden: Uint8Array | null,
): PictureData {
  const channels = hidden ? 2 : 1;
  const bytes = new Uint8Array(coverage.length * channels);
  for (let n = 0; n < coverage.length; n++) {
    bytes[n * channels] = Math.round(255 * coverage[n]!);
    if (hidden) bytes[2 * n + 1] = hidden[n] === 1 ? 0 : 255;
  }
  return { bytes, channels, width, height };
}
