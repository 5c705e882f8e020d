/** Gaussian blur of a raster, with nothing outside it: directly where narrow, on a coarser raster where wide. */

/** Blurs at least this many pixels wide, per step of the coarser raster, are worked out on it. */
const DIRECT_BELOW = 4;
const REACH = 3.6;

/** Weights at -n ... n, sum 1: areas of the normal density over each pixel would be softer still; samples suffice here. */
export function gaussianTaps(sigmaPx: number): Float64Array {
  const reach = Math.max(1, Math.ceil(REACH * sigmaPx));
  const taps = new Float64Array(2 * reach + 1);
  let sum = 0;
  for (let n = -reach; n <= reach; n++) sum += taps[n + reach] = Math.exp(-(n * n) / (2 * sigmaPx * sigmaPx));
  return taps.map((v) => v / sum);
}

/**
 * Convolution with a Gaussian of unit sum; zero is assumed outside.
 * @param values width * height, row by row; left as it is
 * @param sigmaPx standard deviation, pixels; 0 copies
 * @returns `out`, or a new raster
 */
export function blurPlane(
  values: Float32Array,
  width: number,
  height: number,
  sigmaPx: number,
  out: Float32Array = new Float32Array(values.length),
): Float32Array {
  if (!(sigmaPx > 0)) {
    if (out !== values) out.set(values);
    return out;
  }
  if (sigmaPx < DIRECT_BELOW) return blurDirect(values, width, height, gaussianTaps(sigmaPx), out);
  const step = 2 ** Math.floor(Math.log2(sigmaPx / 2));
  const [w, h] = [Math.ceil(width / step) + 2, Math.ceil(height / step) + 2];
  const coarse = blockMeans(values, width, height, step, w, h);
  // The block mean adds (step^2) / 12 to the variance, the linear interpolation (step^2) / 6.
  const rest = Math.sqrt(sigmaPx * sigmaPx - (step * step) / 4) / step;
  blurDirect(coarse, w, h, gaussianTaps(rest), coarse);
  return spreadOut(coarse, w, h, step, width, height, out);
}

/** Separable convolution with symmetric taps. Rows pass through a line, columns through a ring of rows. */
function blurDirect(
  values: Float32Array,
  width: number,
  height: number,
  taps: Float64Array,
  out: Float32Array,
): Float32Array {
  const reach = (taps.length - 1) / 2;
  const across = new Float32Array(values.length);
  const line = new Float64Array(width + 2 * reach);
  for (let row = 0; row < height; row++) {
    const base = row * width;
    for (let x = 0; x < width; x++) line[x + reach] = values[base + x]!;
    for (let x = 0; x < width; x++) {
      const centre = x + reach;
      let sum = taps[reach]! * line[centre]!;
      for (let t = 1; t <= reach; t++) sum += taps[reach + t]! * (line[centre - t]! + line[centre + t]!);
      across[base + x] = sum;
    }
  }
  for (let row = 0; row < height; row++) {
    const base = row * width;
    const middle = taps[reach]!;
    for (let x = 0; x < width; x++) out[base + x] = middle * across[base + x]!;
    for (let t = 1; t <= reach; t++) {
      const weight = taps[reach + t]!;
      const up = row - t >= 0 ? (row - t) * width : -1;
      const down = row + t < height ? (row + t) * width : -1;
      if (up >= 0 && down >= 0)
        for (let x = 0; x < width; x++) out[base + x]! += weight * (across[up + x]! + across[down + x]!);
      else if (up >= 0) for (let x = 0; x < width; x++) out[base + x]! += weight * across[up + x]!;
      else if (down >= 0) for (let x = 0; x < width; x++) out[base + x]! += weight * across[down + x]!;
    }
  }
  return out;
}

/** Means of step x step blocks, with a rim of one empty block all round. */
function blockMeans(
  values: Float32Array,
  width: number,
  height: number,
  step: number,
  w: number,
  h: number,
): Float32Array {
  const coarse = new Float32Array(w * h);
  const share = 1 / (step * step);
  for (let row = 0; row < height; row++) {
    const to = (Math.floor(row / step) + 1) * w + 1;
    const base = row * width;
    for (let x = 0; x < width; x++) coarse[to + Math.floor(x / step)]! += share * values[base + x]!;
  }
  return coarse;
}

function spreadOut(
  coarse: Float32Array,
  w: number,
  h: number,
  step: number,
  width: number,
  height: number,
  out: Float32Array,
): Float32Array {
  const columns = new Int32Array(width);
  const shares = new Float64Array(width);
  for (let x = 0; x < width; x++) {
    const at = (x + 0.5) / step + 0.5;
    columns[x] = Math.min(Math.floor(at), w - 2);
    shares[x] = at - columns[x]!;
  }
  const line = new Float64Array(w);
  for (let row = 0; row < height; row++) {
    const at = (row + 0.5) / step + 0.5;
    const upper = Math.min(Math.floor(at), h - 2);
    const v = at - upper;
    for (let x = 0; x < w; x++) line[x] = coarse[upper * w + x]! * (1 - v) + coarse[(upper + 1) * w + x]! * v;
    const base = row * width;
    for (let x = 0; x < width; x++) {
      const c = columns[x]!;
      out[base + x] = line[c]! + (line[c + 1]! - line[c]!) * shares[x]!;
    }
  }
  return out;
}
