/** Order statistics of plain numbers. */

/**
 * Percentile by linear interpolation between the closest ranks (definition 7 of Hyndman and Fan, The American
 * Statistician 50, 361 (1996)).
 * @param sorted ascending, without NaN, at least one entry
 * @param share 0 to 1
 */
export function percentile(sorted: ArrayLike<number>, share: number): number {
  const at = share * (sorted.length - 1);
  const below = Math.floor(at);
  const above = Math.min(below + 1, sorted.length - 1);
  return sorted[below]! + (sorted[above]! - sorted[below]!) * (at - below);
}

/** Median of unsorted numbers; NaN when there are none. */
export const median = (values: ArrayLike<number>): number =>
  values.length === 0 ? Number.NaN : percentile(Float64Array.from(values).sort(), 0.5);

/**
 * Upper median (rank n / 2, counted from 0) of the positive numbers of a raster that count, without sorting them;
 * NaN when there are none. Bits of positive 32-bit numbers are in the order of the numbers (IEEE 754), so that the upper and
 * then the lower half of them are counted.
 */
export function upperMedian(
  values: Float32Array,
  counts: (n: number) => boolean,
): { readonly median: number; readonly count: number } {
  const bits = new Uint32Array(values.buffer, values.byteOffset, values.length);
  const upper = new Uint32Array(65_536);
  let count = 0;
  for (let n = 0; n < bits.length; n++)
    if (counts(n)) {
      upper[bits[n]! >>> 16]!++;
      count++;
    }
  if (count === 0) return { median: Number.NaN, count };
  let rank = count >> 1;
  let high = 0;
  for (; rank >= upper[high]!; high++) rank -= upper[high]!;
  const lower = new Uint32Array(65_536);
  for (let n = 0; n < bits.length; n++)
    if (bits[n]! >>> 16 === high && counts(n)) lower[bits[n]! & 0xffff]!++;
  let low = 0;
  for (; rank >= lower[low]!; low++) rank -= lower[low]!;
  return { median: new Float32Array(Uint32Array.of(high * 65_536 + low).buffer)[0]!, count };
}

/** Mean and standard deviation (n in the denominator) of the finite entries; NaN when there are none. */
export function meanAndDeviation(values: ArrayLike<number>): {
  mean: number;
  deviation: number;
  count: number;
} {
  let count = 0;
  let mean = 0;
  let squares = 0;
  // Welford's update: stable for large offsets.
  for (let n = 0; n < values.length; n++) {
    const value = values[n]!;
    if (!Number.isFinite(value)) continue;
    count++;
    const delta = value - mean;
    mean += delta / count;
    squares += delta * (value - mean);
  }
  return count === 0
    ? { mean: Number.NaN, deviation: Number.NaN, count }
    : { mean, deviation: Math.sqrt(squares / count), count };
}
