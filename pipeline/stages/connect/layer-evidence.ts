/** How much metal a portrait shows at a place, on a scale where 0 is none and 1 is what is drawn. */
import type { PlateGrid } from '../../../shared/frames.ts';
import { pixelFromDie } from '../../../shared/frames.ts';
import type { Box } from '../../../shared/polygon.ts';
import { coarseBlur, maskedBlur } from '../../kernels/masked-blur.ts';

export interface LayerEvidence {
  readonly grid: PlateGrid;
  /** Pearson correlation of the filtered portrait with the filtered drawing, signed as the metal comes out. */
  readonly correlation: number;
  /** Mean over a box of the filtered portrait less the filtered drawing, in units of metal; null where it sees too little. */
  excess(boxUm: Box): number | null;
  /** What `excess` changes by when a box of this size is filled with metal that was empty, or emptied. */
  response(widthPx: number, heightPx: number): number;
}

/** Blurs of the image, in pixels, among which the one that fits best is taken. */
const BLURS_PX = [0.6, 1, 1.5, 2.2, 3.2];
/** Slow drift and the mean grey of a plate, which laminography loses, are taken out on this scale. */
const WIDE_SHARE = 6;
const WIDE_PX = [8, 40] as const;
/** Where the drawing says too little about the gain, that of the whole picture counts; in pixels of even contrast. */
const PRIOR_PX = 400;

/**
 * @param portrait one value per pixel, NaN where there is no data
 * @param coverage of the drawing, 0 to 1 per pixel
 * @param typicalPx usual width of a wire
 * @returns null where the portrait holds too little of the layer to compare
 */
export function layerEvidence(
  portrait: Float32Array,
  coverage: Float32Array,
  grid: PlateGrid,
  typicalPx: number,
): LayerEvidence | null {
  const { width_px: width, height_px: height } = grid;
  const wide = Math.min(WIDE_PX[1], Math.max(WIDE_PX[0], WIDE_SHARE * typicalPx));
  const masked = coverage.map((value, n) => (Number.isFinite(portrait[n]!) ? value : Number.NaN));
  const image = difference(portrait, coarseBlur(portrait, width, height, wide));
  const slow = coarseBlur(masked, width, height, wide);
  const blur = bestBlur(image, masked, slow, width, height);
  const model = difference(maskedBlur(masked, width, height, blur), slow);
  const correlation = correlationOf(image, model);
  if (!Number.isFinite(correlation) || correlation === 0) return null;
  const excess = inMetal(image, model, width, height, 2 * wide);
  const responses = new Map<string, number>();
  return {
    grid,
    correlation,
    excess: (boxUm) => boxMean(excess, grid, boxUm),
    response: (w, h) => {
      const key = `${w.toFixed(1)} ${h.toFixed(1)}`;
      const known = responses.get(key) ?? boxResponse(w, h, blur, wide);
      responses.set(key, known);
      return known;
    },
  };
}

/** Side of the part of the picture on which blurs are tried. */
const TRIED_PX = 400;

/** The blur of the drawing that the image resembles most, told from the part in the middle. */
function bestBlur(
  image: Float32Array,
  masked: Float32Array,
  slow: Float32Array,
  width: number,
  height: number,
): number {
  const [w, h] = [Math.min(width, TRIED_PX), Math.min(height, TRIED_PX)];
  const part = (values: Float32Array) => {
    const [x, y] = [(width - w) >> 1, (height - h) >> 1];
    const out = new Float32Array(w * h);
    for (let row = 0; row < h; row++) {
      const at = (y + row) * width + x;
      out.set(values.subarray(at, at + w), row * w);
    }
    return out;
  };
  const [seen, drawn, mean] = [part(image), part(masked), part(slow)];
  const fits = BLURS_PX.map((blur) =>
    Math.abs(correlationOf(seen, difference(maskedBlur(drawn, w, h, blur), mean))),
  );
  return BLURS_PX[fits.indexOf(Math.max(...fits))]!;
}

function difference(a: Float32Array, b: Float32Array): Float32Array {
  return a.map((value, n) => value - b[n]!);
}

function correlationOf(a: Float32Array, b: Float32Array): number {
  let [ab, aa, bb] = [0, 0, 0];
  for (let n = 0; n < a.length; n++) {
    if (!Number.isFinite(a[n]!) || !Number.isFinite(b[n]!)) continue;
    ab += a[n]! * b[n]!;
    aa += a[n]! * a[n]!;
    bb += b[n]! * b[n]!;
  }
  return aa > 0 && bb > 0 ? ab / Math.sqrt(aa * bb) : 0;
}

/** Image over the local gain, less the model. The gain is a running regression, leaning on that of the whole picture. */
function inMetal(
  image: Float32Array,
  model: Float32Array,
  width: number,
  height: number,
  scale: number,
): Float32Array {
  const known = image.map((value, n) =>
    Number.isFinite(value) && Number.isFinite(model[n]!) ? 1 : Number.NaN,
  );
  const cross = image.map((value, n) => value * model[n]! * known[n]!);
  const square = model.map((value, n) => value * value * known[n]!);
  const mean = (values: Float32Array) => {
    let sum = 0;
    let count = 0;
    for (let n = 0; n < values.length; n++) {
      if (Number.isNaN(values[n]!)) continue;
      sum += values[n]!;
      count++;
    }
    return count > 0 ? sum / count : 0;
  };
  const [meanCross, meanSquare] = [mean(cross), mean(square)];
  const gain = meanCross / meanSquare;
  const localCross = coarseBlur(cross, width, height, scale);
  const localSquare = coarseBlur(square, width, height, scale);
  const prior = (PRIOR_PX / (4 * Math.PI * scale * scale)) * meanSquare;
  return image.map((value, n) => {
    const local = (localCross[n]! + prior * gain) / (localSquare[n]! + prior);
    // A gain of the other sign, or next to none, is noise: the place then shows nothing.
    const usable = local / gain > 0.3 ? local : Number.NaN;
    return value / usable - model[n]!;
  });
}

/** Least share of a box that must hold data. */
const SEEN = 0.9;

function boxMean(values: Float32Array, grid: PlateGrid, boxUm: Box): number | null {
  const [left, bottom] = pixelFromDie(grid, boxUm[0], boxUm[1]);
  const [right, top] = pixelFromDie(grid, boxUm[2], boxUm[3]);
  const [c0, c1] = wholePixels(left, right);
  const [r0, r1] = wholePixels(top, bottom);
  if (c0 < 0 || r0 < 0 || c1 >= grid.width_px || r1 >= grid.height_px) return null;
  let sum = 0;
  let count = 0;
  for (let row = r0; row <= r1; row++) {
    for (let column = c0; column <= c1; column++) {
      const value = values[row * grid.width_px + column]!;
      if (!Number.isFinite(value)) continue;
      sum += value;
      count++;
    }
  }
  return count >= SEEN * (r1 - r0 + 1) * (c1 - c0 + 1) ? sum / count : null;
}

/** Pixels with their centres in a stretch, at least the one nearest its middle. */
function wholePixels(from: number, to: number): [number, number] {
  const [low, high] = [Math.ceil(from), Math.floor(to)];
  return low <= high ? [low, high] : [Math.round((from + to) / 2), Math.round((from + to) / 2)];
}

/** Mean over a box of metal, blurred and with the slow part taken out. */
function boxResponse(w: number, h: number, blur: number, wide: number): number {
  // A Gaussian falls apart into its axes; the mean of the blurred box over itself is the product of both.
  const self = (sigma: number) => meanOfBlurred(w, sigma) * meanOfBlurred(h, sigma);
  return self(blur) - self(wide);
}

/** Mean over a stretch of a bar just as long, smoothed by a Gaussian, by the midpoint rule. */
function meanOfBlurred(length: number, sigma: number): number {
  const steps = 24;
  let sum = 0;
  for (let n = 0; n < steps; n++) {
    const x = ((n + 0.5) / steps) * length;
    sum += normal(x / sigma) + normal((length - x) / sigma) - 1;
  }
  return sum / steps;
}

/** Standard normal distribution. @source M. Abramowitz and I. A. Stegun, Handbook, 26.2.17, error below 7.5e-8. */
function normal(x: number): number {
  const t = 1 / (1 + 0.2316419 * Math.abs(x));
  const poly =
    t * (0.31938153 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))));
  const tail = 0.3989422804014327 * Math.exp((-x * x) / 2) * poly;
  return x >= 0 ? 1 - tail : tail;
}
