/** Smoothing of pictures with places that hold no data. */

/** Running means that together come near a Gaussian. */
const PASSES = 3;

/**
 * A picture smoothed by about a Gaussian; what holds no data (NaN) has no weight and stays without data.
 * @param sigmaPx standard deviation in pixels; below 0.5 the picture comes back as it is
 * @source W. M. Wells, "Efficient Synthesis of Gaussian Filters by Cascaded Uniform Filters", IEEE PAMI 8 (1986): n
 * running means of width w have the variance n (w^2 - 1) / 12.
 */
export function maskedBlur(
  values: Float32Array,
  width: number,
  height: number,
  sigmaPx: number,
): Float32Array {
  if (sigmaPx < 0.5) return values.slice();
  const sum = new Float32Array(values.length);
  const weight = new Float32Array(values.length);
  for (let n = 0; n < values.length; n++) {
    const known = Number.isFinite(values[n]!);
    sum[n] = known ? values[n]! : 0;
    weight[n] = known ? 1 : 0;
  }
  for (const radius of radii(sigmaPx)) {
    for (const picture of [sum, weight]) runningMean(picture, width, height, radius);
  }
  const out = new Float32Array(values.length);
  for (let n = 0; n < out.length; n++)
    out[n] = Number.isFinite(values[n]!) ? sum[n]! / weight[n]! : Number.NaN;
  return out;
}

/** Half widths of the running means, the smaller ones first, whose variances add up best. */
function radii(sigmaPx: number): number[] {
  const ideal = Math.sqrt((12 * sigmaPx * sigmaPx) / PASSES + 1);
  const low = Math.max(0, Math.floor((ideal - 1) / 2));
  const variance = (radius: number) => ((2 * radius + 1) ** 2 - 1) / 12;
  let best: number[] = [];
  let least = Infinity;
  for (let large = 0; large <= PASSES; large++) {
    const list = Array.from({ length: PASSES }, (_, n) => (n < large ? low + 1 : low));
    const off = Math.abs(list.reduce((sum, r) => sum + variance(r), 0) - sigmaPx * sigmaPx);
    if (off < least) {
      least = off;
      best = list;
    }
  }
  return best.filter((radius) => radius > 0);
}

/** Mean over 2 r + 1 pixels along rows, then along columns, in place; beyond the rim lies nothing. */
function runningMean(picture: Float32Array, width: number, height: number, radius: number): void {
  const share = 1 / (2 * radius + 1);
  const line = new Float32Array(width);
  for (let row = 0; row < height; row++) {
    const at = row * width;
    line.set(picture.subarray(at, at + width));
    let sum = 0;
    for (let n = 0; n < Math.min(radius, width); n++) sum += line[n]!;
    for (let n = 0; n < width; n++) {
      if (n + radius < width) sum += line[n + radius]!;
      if (n > radius) sum -= line[n - radius - 1]!;
      picture[at + n] = sum * share;
    }
  }
  // All columns at once, row by row, with the rows still needed kept aside: memory is read in its order.
  const sums = new Float64Array(width);
  const kept = new Float32Array((radius + 1) * width);
  const add = (row: number) => {
    const at = row * width;
    for (let n = 0; n < width; n++) sums[n]! += picture[at + n]!;
  };
  for (let row = 0; row < Math.min(radius, height); row++) add(row);
  for (let row = 0; row < height; row++) {
    if (row + radius < height) add(row + radius);
    const slot = (row % (radius + 1)) * width;
    if (row > radius) for (let n = 0; n < width; n++) sums[n]! -= kept[slot + n]!;
    const at = row * width;
    for (let n = 0; n < width; n++) {
      kept[slot + n] = picture[at + n]!;
      picture[at + n] = sums[n]! * share;
    }
  }
}

/** Blocks this many times smaller than the standard deviation lose nothing that the smoothing would keep. */
const BLOCKS_PER_SIGMA = 4;

/**
 * The same for wide smoothing, worked out on means of blocks and put back by bilinear interpolation: a sixteenth of the
 * work from 8 pixels on. Has a value wherever data lie near, also where the picture has none.
 */
export function coarseBlur(
  values: Float32Array,
  width: number,
  height: number,
  sigmaPx: number,
): Float32Array {
  const block = Math.floor(sigmaPx / BLOCKS_PER_SIGMA);
  if (block < 2) return maskedBlur(values, width, height, sigmaPx);
  const columns = Math.ceil(width / block);
  const rows = Math.ceil(height / block);
  const sums = new Float64Array(columns * rows);
  const counts = new Uint32Array(columns * rows);
  for (let row = 0; row < height; row++) {
    const base = Math.floor(row / block) * columns;
    for (let column = 0; column < width; column++) {
      const value = values[row * width + column]!;
      if (!Number.isFinite(value)) continue;
      const at = base + Math.floor(column / block);
      sums[at]! += value;
      counts[at]!++;
    }
  }
  const means = Float32Array.from(sums, (sum, n) => (counts[n]! > 0 ? sum / counts[n]! : Number.NaN));
  const smooth = maskedBlur(means, columns, rows, sigmaPx / block);
  return enlarged(smooth, columns, rows, block, width, height);
}

/** Bilinear interpolation between the middles of blocks; blocks without a value have no weight. */
function enlarged(
  blocks: Float32Array,
  columns: number,
  rows: number,
  block: number,
  width: number,
  height: number,
): Float32Array {
  const out = new Float32Array(width * height);
  const across = between(width, block, columns);
  const down = between(height, block, rows);
  for (let row = 0; row < height; row++) {
    const upper = down.low[row]! * columns;
    const lower = Math.min(rows - 1, down.low[row]! + 1) * columns;
    const v = down.share[row]!;
    for (let column = 0; column < width; column++) {
      const left = across.low[column]!;
      const right = Math.min(columns - 1, left + 1);
      const u = across.share[column]!;
      let sum = 0;
      let weight = 0;
      for (let k = 0; k < 4; k++) {
        const share = (k & 1 ? u : 1 - u) * (k & 2 ? v : 1 - v);
        const value = blocks[(k & 2 ? lower : upper) + (k & 1 ? right : left)]!;
        if (share === 0 || Number.isNaN(value)) continue;
        sum += share * value;
        weight += share;
      }
      out[row * width + column] = weight > 0 ? sum / weight : Number.NaN;
    }
  }
  return out;
}

/** For each pixel along an axis, the block whose middle lies before it, and how far it is towards the next one. */
function between(pixels: number, block: number, count: number): { low: Uint32Array; share: Float64Array } {
  const low = new Uint32Array(pixels);
  const share = new Float64Array(pixels);
  for (let n = 0; n < pixels; n++) {
    const at = Math.min(count - 1, Math.max(0, (n + 0.5) / block - 0.5));
    low[n] = Math.floor(at);
    share[n] = at - low[n]!;
  }
  return { low, share };
}
