/**
 * From the shapes of one layer to its coverage on the scan's pixels: exact areas on a fine grid, the rounding and
 * the bias of the lithography, then the mean over each turned scan pixel.
 */
import type { Ring } from '../layout/library.ts';
import { addRing, type CoverageMask, cutRing, emptyMask, type FineGrid } from './coverage.ts';
import { addUnion } from './union-coverage.ts';

/** What the fab did to one layer, in the plane. */
export interface PrintedShapes {
  readonly rings: readonly Ring[];
  /** Pieces taken out of the metal, then pieces put in (faults). */
  readonly cuts: readonly Ring[];
  readonly extras: readonly Ring[];
  /** Every edge stands this far outside the drawn one. */
  readonly biasUm: number;
  readonly offsetUm: readonly [number, number];
  /** Blur of the exposure, which rounds corners. */
  readonly roundingUm: number;
}

function gaussianKernel(sigma: number): Float64Array {
  const reach = Math.ceil(3.5 * sigma);
  const kernel = new Float64Array(2 * reach + 1);
  let sum = 0;
  for (let i = -reach; i <= reach; i++) {
    kernel[i + reach] = Math.exp(-(i * i) / (2 * sigma * sigma));
    sum += kernel[i + reach] as number;
  }
  return kernel.map((v) => v / sum);
}

/** Separable blur in place, with nothing outside the grid. */
function blur(values: Float32Array, width: number, height: number, sigma: number): void {
  const kernel = gaussianKernel(sigma);
  const reach = (kernel.length - 1) / 2;
  const line = new Float64Array(width + 2 * reach);
  for (let y = 0; y < height; y++) {
    const row = y * width;
    let any = false;
    for (let x = 0; x < width; x++) {
      const v = values[row + x] as number;
      line[x + reach] = v;
      if (v !== 0) any = true;
    }
    if (!any) continue;
    for (let x = 0; x < width; x++) {
      let sum = 0;
      for (let t = 0; t < kernel.length; t++) sum += (line[x + t] as number) * (kernel[t] as number);
      values[row + x] = sum;
    }
  }
  // Down the columns a ring of rows is kept, so that memory is walked along the rows.
  const source = values.slice();
  for (let y = 0; y < height; y++) {
    const target = values.subarray(y * width, (y + 1) * width);
    target.fill(0);
    for (let t = -reach; t <= reach; t++) {
      const from = y + t;
      if (from < 0 || from >= height) continue;
      const weight = kernel[t + reach] as number;
      const base = from * width;
      for (let x = 0; x < width; x++)
        target[x] = (target[x] as number) + weight * (source[base + x] as number);
    }
  }
}

/** Distribution function of the standard normal. @source Abramowitz and Stegun 7.1.26, error below 1.5e-7. */
export function normalCdf(x: number): number {
  const t = 1 / (1 + (0.3275911 * Math.abs(x)) / Math.SQRT2);
  const series =
    ((((1.061405429 * t - 1.453152027) * t + 1.421413741) * t - 0.284496736) * t + 0.254829592) * t;
  const erf = 1 - series * Math.exp((-x * x) / 2);
  return x >= 0 ? (1 + erf) / 2 : (1 - erf) / 2;
}

/**
 * Coverage as printed. The blurred drawing is cut at the level that moves a straight edge out by the bias; the cut
 * is one fine pixel soft, so that edges stay where they are to a fraction of it.
 */
export function printLayer(shapes: PrintedShapes, grid: FineGrid): CoverageMask {
  const mask = emptyMask(grid);
  addUnion(mask, shapes.rings);
  for (const ring of shapes.cuts) cutRing(mask, ring);
  for (const ring of shapes.extras) addRing(mask, ring);
  const sigma = shapes.roundingUm / grid.pixelUm;
  blur(mask.values, grid.width, grid.height, sigma);
  const shift = shapes.biasUm / shapes.roundingUm;
  const level = normalCdf(-shift);
  const slope = Math.exp((-shift * shift) / 2) / (sigma * Math.sqrt(2 * Math.PI));
  const { values } = mask;
  for (let i = 0; i < values.length; i++) {
    const v = 0.5 + ((values[i] as number) - level) / slope;
    values[i] = v <= 0 ? 0 : Math.min(v, 1);
  }
  return mask;
}

const SUB = 4;

/**
 * Mean coverage of each scan pixel, from SUB x SUB interpolated points in it.
 * @param plane die position of pixel (i, j) as [xi, xj, x0, yi, yj, y0], micrometres
 * @param origin scan pixel that lies at column and row 0 of `out`
 * @param bend displacement of every pixel of `out` in the die, micrometres
 */
export function sampleMask(
  mask: CoverageMask,
  plane: readonly number[],
  offsetUm: readonly [number, number],
  origin: readonly [number, number],
  size: readonly [number, number],
  out: Float32Array,
  bend: { readonly x: Float32Array; readonly y: Float32Array } | null = null,
): void {
  const { grid, values } = mask;
  const [xi, xj, x0, yi, yj, y0] = plane as [number, number, number, number, number, number];
  const scale = 1 / grid.pixelUm;
  const [ci, cj, ri, rj] = [xi * scale, xj * scale, yi * scale, yj * scale];
  // Centres of fine pixels lie at half indices.
  const c0 = (x0 - offsetUm[0] - grid.x0Um) * scale - 0.5;
  const r0 = (y0 - offsetUm[1] - grid.y0Um) * scale - 0.5;
  const [width, height] = size;
  const w = grid.width;
  const maxC = w - 2;
  const maxR = grid.height - 2;
  for (let row = 0; row < height; row++) {
    for (let column = 0; column < width; column++) {
      const i = column + origin[0];
      const j = row + origin[1];
      const n = row * width + column;
      const dc = bend ? (bend.x[n] as number) * scale : 0;
      const dr = bend ? (bend.y[n] as number) * scale : 0;
      let sum = 0;
      for (let sj = 0; sj < SUB; sj++) {
        const fj = j + (sj + 0.5) / SUB - 0.5;
        for (let si = 0; si < SUB; si++) {
          const fi = i + (si + 0.5) / SUB - 0.5;
          const c = ci * fi + cj * fj + c0 + dc;
          const r = ri * fi + rj * fj + r0 + dr;
          const cf = Math.floor(c);
          const rf = Math.floor(r);
          if (cf < 0 || rf < 0 || cf > maxC || rf > maxR) continue;
          const at = rf * w + cf;
          const u = c - cf;
          const v = r - rf;
          const low = (values[at] as number) * (1 - u) + (values[at + 1] as number) * u;
          const high = (values[at + w] as number) * (1 - u) + (values[at + w + 1] as number) * u;
          sum += low + (high - low) * v;
        }
      }
      out[n] = sum / (SUB * SUB);
    }
  }
}
