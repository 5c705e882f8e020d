/** The drawing as the matcher wants it: every layer of the stack that is drawn, as pictures without slow changes. */
import type { ProcessLayer } from '../../../../shared/artefacts/process.ts';
import type { PlateGrid } from '../../../../shared/frames.ts';
import type { Box } from '../../../../shared/polygon.ts';
import { smooth, withoutSlow } from '../../../kernels/smooth.ts';

export interface DrawnStack {
  readonly layers: readonly ProcessLayer[];
  /** Extent of the drawing. */
  readonly boxUm: Box;
  /** Area coverage, 0 to 1, of one layer on a grid. */
  readonly render: (layer: ProcessLayer, grid: PlateGrid) => Float32Array;
}

export interface LayerPicture {
  readonly layer: ProcessLayer;
  /** Coverage less its slow changes, times a weight that keeps sparse and dense layers comparable. */
  readonly picture: Float32Array;
  /** Mean square of `picture`. */
  readonly power: number;
}

/** Layers with less than this mean square (of coverage) show nothing to match. */
const EMPTY = 1e-4;

/** Mean square of coverage below which a layer counts for less. */
const SPARSE = 0.004;

/** @returns one picture per layer with something to show on this grid */
export function layerPictures(stack: DrawnStack, grid: PlateGrid, slowUm: number): LayerPicture[] {
  const { width_px: width, height_px: height } = grid;
  const one = new Float32Array(width * height).fill(1);
  const sigma = Math.max(2, slowUm / grid.pixel_um);
  const smoothedOne = smooth(Float32Array.from(one), width, height, sigma);
  const pictures: LayerPicture[] = [];
  for (const layer of stack.layers) {
    const coverage = stack.render(layer, grid);
    const picture = withoutSlow(coverage, one, smoothedOne, width, height, sigma);
    const power = meanSquare(picture);
    if (power < EMPTY) continue;
    // A sparse layer of vias tells as much as a dense one of wires; nearly empty ones are not blown up.
    const factor = (power + SPARSE) ** -0.5;
    for (let n = 0; n < picture.length; n++) picture[n] = picture[n]! * factor;
    pictures.push({ layer, picture, power: power * factor * factor });
  }
  return pictures;
}

function meanSquare(values: Float32Array): number {
  let sum = 0;
  for (const value of values) sum += value * value;
  return sum / values.length;
}
