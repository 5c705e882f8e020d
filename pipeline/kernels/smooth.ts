/** Wide smoothing and local contrast of pictures with holes in them. */

/**
 * Three running means in each direction, near enough a Gaussian.
 * @source Wells, IEEE Transactions on Pattern Analysis and Machine Intelligence 8, 234 (1986).
 * @param sigma standard deviation in pixels
 * @returns the picture itself, smoothed in place; beyond the border counts as zero
 */
export function smooth(picture: Float32Array, width: number, height: number, sigma: number): Float32Array {
  const radius = Math.max(1, Math.round((Math.sqrt(4 * sigma * sigma + 1) - 1) / 2));
  const line = new Float64Array(width);
  const copy = new Float32Array(picture.length);
  for (let pass = 0; pass < 3; pass++) {
    for (let row = 0; row < height; row++) runningMean(picture, row * width, width, radius, line);
    copy.set(picture);
    downColumns(copy, picture, width, height, radius);
  }
  return picture;
}

/** All columns at once, row by row: a column by itself would fetch a line of the cache for every value. */
function downColumns(
  from: Float32Array,
  to: Float32Array,
  width: number,
  height: number,
  radius: number,
): void {
  const factor = 1 / (2 * radius + 1);
  const sums = new Float64Array(width);
  const add = (row: number, sign: 1 | -1): void => {
    for (let column = 0, p = row * width; column < width; column++, p++) sums[column]! += sign * from[p]!;
  };
  for (let row = 0; row < Math.min(radius, height); row++) add(row, 1);
  for (let row = 0; row < height; row++) {
    if (row + radius < height) add(row + radius, 1);
    for (let column = 0, p = row * width; column < width; column++, p++) to[p] = sums[column]! * factor;
    if (row - radius >= 0) add(row - radius, -1);
  }
}

function runningMean(
  values: Float32Array,
  at: number,
  count: number,
  radius: number,
  line: Float64Array,
): void {
  for (let n = 0; n < count; n++) line[n] = values[at + n]!;
  const factor = 1 / (2 * radius + 1);
  let sum = 0;
  for (let n = 0; n < Math.min(radius, count); n++) sum += line[n]!;
  for (let n = 0; n < count; n++) {
    if (n + radius < count) sum += line[n + radius]!;
    values[at + n] = sum * factor;
    if (n - radius >= 0) sum -= line[n - radius]!;
  }
}

/**
 * What is left of a picture without its slow changes: the wide mean under the mask is taken off, and outside the mask
 * there is nothing.
 * @param weight 1 inside, 0 outside
 * @param smoothedWeight `weight` after `smooth` with the same sigma
 */
export function withoutSlow(
  picture: Float32Array,
  weight: Float32Array,
  smoothedWeight: Float32Array,
  width: number,
  height: number,
  sigma: number,
): Float32Array {
  const mean = new Float32Array(picture.length);
  for (let n = 0; n < picture.length; n++) mean[n] = weight[n]! > 0 ? picture[n]! : 0;
  smooth(mean, width, height, sigma);
  for (let n = 0; n < picture.length; n++)
    mean[n] = weight[n]! > 0 ? picture[n]! - mean[n]! / Math.max(1e-6, smoothedWeight[n]!) : 0;
  return mean;
}
