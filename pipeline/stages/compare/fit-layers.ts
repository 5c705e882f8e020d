/**
 * What every portrait is made of: its own layer and its neighbours', each through a blur of its own, and by how much
 * the layer's edges stand off the drawn ones. Fitted to a sample of the pixels.
 */
import type { HighPass } from '../../kernels/high-pass.ts';
import { normalEquations, solveNormal } from '../../kernels/least-squares.ts';
import { sharedRaster } from '../../kernels/shared-raster.ts';
import type { Canvas } from './canvas.ts';
import type { Crew } from './crew.ts';
import { BANK_PX, eachSampledBlur } from './kernel-bank.ts';
import type { DrawnRasters } from './layer-drawing.ts';

/** Rows of the least-squares problem of a layer: pixels spread evenly, and for every layer some near its own metal. */
const SAMPLES = 9000;
const NEAR_METAL = 600;
/** Layers this far up or down in the stack may shine through. */
const NEIGHBOURS = 3;
/** A halo of a layer at a vertical distance is at least this share of it wide. */
const HALO_SPREAD = 0.2;
/** Relative to the column's own sum of squares; keeps blurs that look alike from cancelling. */
const RIDGE = 1e-4;
/** Residuals beyond this many deviations are left out: they are findings or fill, not blur. */
const OUTLIER = 3;
/** A fit may miss by this share of what it predicts before that counts as a deviation: strong contrast is missed by more. */
const TOLERANCE = 0.2;
/** Deviations that widening and shift may be expected to have, pixels: what a drawing cannot tell stays near zero. */
const BIAS_SD_PX = 0.6;
const ROUNDS = 3;
/** With fewer there is no field to speak of. */
const LEAST_SAMPLES = 500;

export interface LayerOnCanvas {
  readonly name: string;
  readonly bottomUm: number;
  readonly topUm: number;
  readonly rasters: DrawnRasters;
  /** High-passed portrait; null where the layer is not compared. It still shines through. */
  readonly image: Float32Array | null;
}

export interface LayerFit {
  /** Kernels by layer number of the source. */
  readonly kernels: ReadonlyMap<number, Float64Array>;
  /** Edges stand this many pixels outside the drawn ones. */
  readonly wideningPx: number;
  /** Columns right and rows down. */
  readonly shiftPx: readonly [number, number];
  /** Standard uncertainties of widening and shift, pixels. */
  readonly uncertaintyPx: readonly [number, number, number];
  /** Correlation of the image with the fit over the sample. */
  readonly correlation: number;
  /** Standard deviation of what is left. */
  readonly residual: number;
}

export interface Columns {
  readonly blurred: Float32Array[];
  readonly swept: Float32Array[];
  readonly alongX: Float32Array[];
  readonly alongY: Float32Array[];
}

/**
 * Pixels spread evenly at random over the mask, away from its rim by one pixel; and some near the edges of every layer,
 * so that a layer of a few vias is not left to chance.
 */
function samplePixels(layers: readonly LayerOnCanvas[], canvas: Canvas, random: () => number): Int32Array {
  const { mask, width } = canvas;
  const inside: number[] = [];
  for (let n = width; n < mask.length - width; n++)
    if (mask[n] && mask[n - 1] && mask[n + 1] && mask[n - width] && mask[n + width]) inside.push(n);
  const chosen = new Set<number>(some(inside, SAMPLES, random));
  for (const { image, rasters } of layers) {
    if (!image) continue;
    const near = inside.filter((n) => rasters.edges[n]! > 0.3 || rasters.edges[n + 2]! > 0.3);
    for (const n of some(near, NEAR_METAL, random)) chosen.add(n);
  }
  return Int32Array.from(chosen).sort();
}

/** One from each of `most` runs of equal length: even, and none twice. */
function some(list: readonly number[], most: number, random: () => number): number[] {
  const count = Math.min(most, list.length);
  return Array.from({ length: count }, (_, n) => list[Math.floor(((n + random()) * list.length) / count)]!);
}

export function neighboursOf(layers: readonly LayerOnCanvas[], own: number): number[] {
  const order = layers.map((_, n) => n).sort((a, b) => layers[a]!.bottomUm - layers[b]!.bottomUm);
  const at = order.indexOf(own);
  return order.filter((_, place) => place !== at && Math.abs(place - at) <= NEIGHBOURS);
}

/** Whether a layer may show in the portrait of another through a blur of the bank. */
export function mayShow(
  source: LayerOnCanvas,
  target: LayerOnCanvas,
  index: number,
  pixelUm: number,
): boolean {
  const gap = Math.max(source.bottomUm - target.topUm, target.bottomUm - source.topUm, 0);
  return BANK_PX[index]! >= (HALO_SPREAD * gap) / pixelUm || index === BANK_PX.length - 1;
}

/** One fit per layer, in the crew; null for layers without an image or without a drawing in the field. */
export async function fitLayers(
  layers: readonly LayerOnCanvas[],
  canvas: Canvas,
  crew: Crew,
  random: () => number,
): Promise<(LayerFit | null)[]> {
  const pixels = samplePixels(layers, canvas, random);
  const columns = await Promise.all(layers.map((layer) => crew.do('columns', { layer, pixels, canvas })));
  return Promise.all(
    layers.map((layer, own) => {
      if (!layer.image || pixels.length < LEAST_SAMPLES) return null;
      return crew.do('fit', { layers, own, columns, pixels, pixelUm: canvas.grid.pixel_um });
    }),
  );
}

/** What the blurs of a layer, and of its edges, amount to at the sampled pixels. */
export function sampleColumns(
  layer: LayerOnCanvas,
  pixels: Int32Array,
  canvas: Canvas,
  highPass: HighPass,
): Columns {
  const { width, height } = canvas;
  const columns: Columns = { blurred: [], swept: [], alongX: [], alongY: [] };
  const column = (at: (n: number) => number): Float32Array => {
    const out = sharedRaster(pixels.length);
    for (let k = 0; k < out.length; k++) out[k] = at(pixels[k]!);
    return out;
  };
  eachSampledBlur(layer.rasters.known, width, height, highPass, (at) => {
    columns.blurred.push(column(at));
    if (!layer.image) return;
    columns.alongX.push(column((n) => (at(n + 1) - at(n - 1)) / 2));
    columns.alongY.push(column((n) => (at(n + width) - at(n - width)) / 2));
  });
  if (layer.image)
    eachSampledBlur(layer.rasters.edges, width, height, highPass, (at) => {
      columns.swept.push(column(at));
    });
  return columns;
}

export interface FitTask {
  readonly layers: readonly LayerOnCanvas[];
  /** The layer whose image is fitted. */
  readonly own: number;
  readonly columns: readonly Columns[];
  readonly pixels: Int32Array;
  readonly pixelUm: number;
}

/** @returns null where the layer has no drawing in the field */
export function fitOne({ layers, own, columns, pixels, pixelUm }: FitTask): LayerFit | null {
  const image = layers[own]!.image!;
  const target = Float64Array.from(pixels, (n) => image[n]!);
  const terms: { source: number; index: number }[] = BANK_PX.map((_, index) => ({ source: own, index }));
  for (const source of neighboursOf(layers, own))
    BANK_PX.forEach((_, index) => {
      if (mayShow(layers[source]!, layers[own]!, index, pixelUm)) terms.push({ source, index });
    });
  const linear = terms.map((t) => columns[t.source]!.blurred[t.index]!);
  if (linear.slice(0, BANK_PX.length).every((column) => column.every((v) => v === 0))) return null;
  const rows = target.length;
  const weights = new Float64Array(rows).fill(1);
  let kernel: Float64Array | null = null;
  let used: readonly ArrayLike<number>[] = linear;
  let values = new Float64Array(0);
  let variances = new Float64Array(0);
  let residual = 0;
  for (let round = 0; round < ROUNDS; round++) {
    used = kernel ? [...linear, ...biasColumns(columns[own]!, kernel)] : linear;
    const equations = normalEquations(used, target, weights);
    const size = used.length + 1;
    const prior = (residual / BIAS_SD_PX) ** 2;
    const ridge = used.map((_, n) => (n < linear.length ? RIDGE * equations.sums[n * size + n]! : prior));
    const solution = solveNormal(equations, ridge);
    values = Float64Array.from(solution.values);
    variances = Float64Array.from(solution.variances);
    residual = reweigh(used, values, target, weights);
    kernel = values.slice(0, BANK_PX.length);
  }
  const kernels = new Map<number, Float64Array>();
  terms.forEach(({ source, index }, n) => {
    let entry = kernels.get(source);
    if (!entry) {
      entry = new Float64Array(BANK_PX.length);
      kernels.set(source, entry);
    }
    entry[index] = values[n]!;
  });
  const [widening, x, y] = values.subarray(linear.length);
  const sd = Array.from(variances.subarray(linear.length), (v) => residual * Math.sqrt(v));
  return {
    kernels,
    wideningPx: widening!,
    // A pattern moved by s reads f(x - s) = f - s f'.
    shiftPx: [-x!, -y!],
    uncertaintyPx: [sd[0]!, sd[1]!, sd[2]!],
    correlation: correlationOf(used, values, target, weights),
    residual,
  };
}

/** What a widening by a pixel and a shift by a pixel would add to the image of the layer, given its kernel. */
function biasColumns(own: Columns, kernel: Float64Array): Float64Array[] {
  const mix = (parts: readonly Float32Array[]): Float64Array => {
    const sum = new Float64Array(parts[0]!.length);
    parts.forEach((part, index) => {
      for (let n = 0; n < sum.length; n++) sum[n]! += kernel[index]! * part[n]!;
    });
    return sum;
  };
  return [mix(own.swept), mix(own.alongX), mix(own.alongY)];
}

function predict(columns: readonly ArrayLike<number>[], values: Float64Array, row: number): number {
  let sum = 0;
  for (let i = 0; i < columns.length; i++) sum += values[i]! * columns[i]![row]!;
  return sum;
}

/** Leaves out rows that the fit misses by far. @returns the deviation of the rest, by the median */
function reweigh(
  columns: readonly ArrayLike<number>[],
  values: Float64Array,
  target: Float64Array,
  weights: Float64Array,
): number {
  const misses = new Float64Array(target.length);
  const allowed = new Float64Array(target.length);
  for (let n = 0; n < target.length; n++) {
    const predicted = predict(columns, values, n);
    misses[n] = Math.abs(target[n]! - predicted);
    allowed[n] = TOLERANCE * Math.abs(predicted);
  }
  const sorted = misses.slice().sort();
  // 0.6745 deviations hold half of a normal distribution.
  const deviation = sorted[sorted.length >> 1]! / 0.6745;
  for (let n = 0; n < target.length; n++)
    weights[n] = misses[n]! <= OUTLIER * Math.hypot(deviation, allowed[n]!) ? 1 : 0;
  return deviation;
}

function correlationOf(
  columns: readonly ArrayLike<number>[],
  values: Float64Array,
  target: Float64Array,
  weights: Float64Array,
): number {
  let [ab, aa, bb] = [0, 0, 0];
  for (let n = 0; n < target.length; n++) {
    if (weights[n] === 0) continue;
    const a = predict(columns, values, n);
    ab += a * target[n]!;
    aa += a * a;
    bb += target[n]! * target[n]!;
  }
  return aa > 0 && bb > 0 ? ab / Math.sqrt(aa * bb) : 0;
}
