/** Thresholds below which two images of the same thing no longer agree well enough. */

/**
 * Information threshold for an SNR per half-set, against the number of independent pixels of a ring or shell:
 * (S + 2 sqrt(S)/sqrt(n) + 1/sqrt(n)) / (S + 1 + 2 sqrt(S)/sqrt(n)).
 * @source van Heel and Schatz, J. Struct. Biol. 151, 250 (2005).
 */
export function informationThreshold(snrPerHalf: number, pixels: number): number {
  const root = 2 * Math.sqrt(snrPerHalf);
  const inverse = 1 / Math.sqrt(pixels);
  return (snrPerHalf + (root + 1) * inverse) / (snrPerHalf + 1 + root * inverse);
}

/** Half a bit per pixel over both halves together: S = (sqrt(2) - 1) / 2 in each. */
export const HALF_BIT_SNR = (Math.SQRT2 - 1) / 2;
export const ONE_BIT_SNR = 0.5;
export const halfBit = (pixels: number): number => informationThreshold(HALF_BIT_SNR, pixels);

/** Half-set correlation at which the correlation of the whole with the truth is one half: sqrt(2 c / (1 + c)) = 0.5. */
export const ONE_SEVENTH = 1 / 7;

/**
 * First frequency at which a correlation falls below its threshold for good enough: linear between the rings, after
 * the first ring. null where it stays above to the last ring.
 */
export function crossing(
  frequency: readonly number[],
  correlation: readonly number[],
  threshold: readonly number[],
): number | null {
  for (let n = 1; n < frequency.length; n++) {
    const now = correlation[n]! - threshold[n]!;
    if (now >= 0) continue;
    const before = correlation[n - 1]! - threshold[n - 1]!;
    if (before <= 0) return frequency[n - 1]!;
    return frequency[n - 1]! + ((frequency[n]! - frequency[n - 1]!) * before) / (before - now);
  }
  return null;
}
