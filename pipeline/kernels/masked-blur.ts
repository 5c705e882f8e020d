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
  const line = new Float32Array(Math.max(width, height));
  const share = 1 / (2 * radius + 1);
  const along = (count: number, start: number, step: number) => {
    for (let n = 0; n < count; n++) line[n] = picture[start + n * step]!;
    let sum = 0;
    for (let n = 0; n < Math.min(radius, count); n++) sum += line[n]!;
    for (let n = 0; n < count; n++) {
      if (n + radius < count) sum += line[n + radius]!;
      if (n - radius > 0) sum -= line[n - radius - 1]!;
      picture[start + n * step] = sum * share;
    }
  };
  for (let row = 0; row < height; row++) along(width, row * width, 1);
  for (let column = 0; column < width; column++) along(height, column, width);
}
