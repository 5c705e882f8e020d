/**
 * From a rough map of a picture to an exact one: the drawing, each visible metal with its own brightness, is fitted to
 * the picture, and what is left over moves the map along the slopes of the fit.
 * @source Lucas and Kanade, Proc. 7th Int. Joint Conf. on Artificial Intelligence, 674 (1981)
 */
import { type Affine2, apply2, compose2 } from '../../../../shared/affine.ts';
import type { PlateGrid } from '../../../../shared/frames.ts';
import { blurPlane } from '../../../kernels/gaussian-plane.ts';
import { normalEquations, solveNormal } from '../../../kernels/least-squares.ts';
import { smooth, withoutSlow } from '../../../kernels/smooth.ts';
import type { GreyPicture } from './grey-picture.ts';
import { gridRound, onGrid } from './resample-picture.ts';
import type { Visible } from './visible-layers.ts';

export interface FittedPicture {
  readonly map: Affine2;
  readonly grid: PlateGrid;
  /** Share of the picture's variance that the drawing explains, square root: 0 to 1. */
  readonly correlation: number;
  readonly seen: Float32Array;
  readonly model: Float32Array;
  readonly weight: Float32Array;
}

export interface PictureRound {
  readonly pixelUm: number;
  /** Blur of both, pixels: wide finds from afar, narrow fits exactly. */
  readonly blurPx: number;
  readonly steps: number;
}

/** A step is not allowed to move the field further than this, pixels. */
const LARGEST_STEP = 2.5;

export function refinePicture(
  picture: GreyPicture,
  start: Affine2,
  draw: (grid: PlateGrid) => Visible,
  rounds: readonly PictureRound[],
  slowUm: number,
): FittedPicture {
  let map = start;
  let last: FittedPicture | null = null;
  for (const { pixelUm, blurPx, steps } of rounds) {
    const grid = gridRound(picture, map, pixelUm, 4 * pixelUm);
    const { width_px: width, height_px: height } = grid;
    const { weight: inside } = onGrid(picture, map, grid);
    const even = evener(inside, width, height, pixelUm, slowUm);
    const layers = draw(grid).layers.map((l) => even(blurPlane(l.share, width, height, blurPx)));
    const middle = apply2(map, (picture.width - 1) / 2, (picture.height - 1) / 2);
    for (let n = 0; n <= steps; n++) {
      const { values, weight } = onGrid(picture, map, grid);
      const seen = even(blurPlane(values, width, height, blurPx));
      const fit = fitLayers(seen, layers, weight);
      last = { map, grid, seen, weight, ...fit };
      if (n === steps) break;
      const step = correction(seen, fit.model, weight, grid, middle);
      if (!step) break;
      map = compose2(step, map);
    }
  }
  return last!;
}

/** Takes slow changes off inside the picture, so that its rim spoils picture and drawing alike. */
function evener(
  inside: Float32Array,
  width: number,
  height: number,
  pixelUm: number,
  slowUm: number,
): (plane: Float32Array) => Float32Array {
  const sigma = Math.max(2, slowUm / pixelUm);
  const smoothed = smooth(Float32Array.from(inside), width, height, sigma);
  return (plane) => withoutSlow(plane, inside, smoothed, width, height, sigma);
}

function fitLayers(
  seen: Float32Array,
  layers: readonly Float32Array[],
  weight: Float32Array,
): { model: Float32Array; correlation: number } {
  const one = new Float32Array(seen.length).fill(1);
  const equations = normalEquations([...layers, one], seen, weight);
  const scale = equations.weight * 1e-6;
  const { values } = solveNormal(equations, new Array(layers.length + 1).fill(scale));
  const model = new Float32Array(seen.length);
  let [left, all, sum, count] = [0, 0, 0, 0];
  for (let p = 0; p < seen.length; p++) {
    let value = values[layers.length]!;
    for (let l = 0; l < layers.length; l++) value += values[l]! * layers[l]![p]!;
    model[p] = value;
    if (weight[p] === 0) continue;
    left += (seen[p]! - value) ** 2;
    all += seen[p]! ** 2;
    sum += seen[p]!;
    count++;
  }
  const variance = all - sum ** 2 / Math.max(1, count);
  return { model, correlation: variance > 0 ? Math.sqrt(Math.max(0, 1 - left / variance)) : 0 };
}

/** The map that takes the die as the picture shows it now to the die as it is drawn; null where nothing is to be seen. */
function correction(
  seen: Float32Array,
  model: Float32Array,
  weight: Float32Array,
  grid: PlateGrid,
  [mx, my]: readonly [number, number],
): Affine2 | null {
  const { width_px: width, height_px: height, pixel_um: pixel, origin_um: origin } = grid;
  const columns = Array.from({ length: 6 }, () => new Float32Array(seen.length));
  const rest = new Float32Array(seen.length);
  const use = new Float32Array(seen.length);
  const reach = (Math.max(width, height) * pixel) / 2;
  for (let row = 1; row < height - 1; row++) {
    for (let column = 1; column < width - 1; column++) {
      const p = row * width + column;
      if (weight[p] === 0) continue;
      const gx = (model[p + 1]! - model[p - 1]!) / (2 * pixel);
      const gy = (model[p - width]! - model[p + width]!) / (2 * pixel);
      const u = (origin[0] + column * pixel - mx) / reach;
      const v = (origin[1] - row * pixel - my) / reach;
      const line = [gx, gx * u, gx * v, gy, gy * u, gy * v];
      for (let n = 0; n < 6; n++) columns[n]![p] = line[n]!;
      rest[p] = seen[p]! - model[p]!;
      use[p] = 1;
    }
  }
  const equations = normalEquations(columns, rest, use);
  const trace = equations.sums[0]! + equations.sums[3 * 7 + 3]!;
  if (!(trace > 0)) return null;
  const { values } = solveNormal(equations, new Array(6).fill(1e-4 * trace));
  const longest = Math.max(
    Math.abs(values[0]!),
    Math.abs(values[3]!),
    ...[1, 2, 4, 5].map((n) => Math.abs(values[n]!)),
  );
  const brake = Math.min(1, (LARGEST_STEP * pixel) / Math.max(longest, 1e-12));
  const [x, ux, vx, y, uy, vy] = Array.from(values, (v) => v * brake) as [
    number,
    number,
    number,
    number,
    number,
    number,
  ];
  // What is seen at a point belongs to the point plus the step.
  const a: Affine2 = [1 + ux / reach, vx / reach, 0, uy / reach, 1 + vy / reach, 0];
  return [a[0], a[1], x + mx - a[0] * mx - a[1] * my, a[3], a[4], y + my - a[3] * mx - a[4] * my];
}
