/** The drawing of one layer as the image should show it: drawn shapes and drawn fill together. */
import type { ProcessLayer } from '../../../../shared/artefacts/process.ts';
import { gridBoxUm, type PlateGrid } from '../../../../shared/frames.ts';
import { shapesInWindow } from '../../../formats/layout/flatten.ts';
import type { DrawnLayer, Layout } from '../../../formats/layout.ts';
import { renderCoverage } from '../../../kernels/coverage.ts';

/** @returns a function from a layer and a grid to the coverage of its pixels, all 0 where nothing is drawn */
export function layerDrawing(
  layout: Layout,
  top: string,
): (layer: ProcessLayer, grid: PlateGrid) => Float32Array {
  return (layer, grid) => {
    const drawn = new Set([...layer.drawn, ...(layer.fill ?? [])] as DrawnLayer[]);
    const polygons: Float64Array[] = [];
    if (drawn.size > 0)
      for (const shape of shapesInWindow(layout, top, gridBoxUm(grid), drawn)) polygons.push(shape.xyUm);
    return renderCoverage(polygons, grid);
  };
}
