/** Coverage to colour. */

/**
 * Turns grey coverage into one colour with the coverage as opacity, in place.
 * @param rgba pixels, four bytes each; red holds the coverage 0 to 255
 * @param colour "#rrggbb"
 */
export function linearTint(rgba: Uint8ClampedArray, colour: string): void {
  const value = Number.parseInt(colour.slice(1), 16);
  const red = value >> 16;
  const green = (value >> 8) & 255;
  const blue = value & 255;
  for (let n = 0; n < rgba.length; n += 4) {
    // A pixel without data is without drawing too.
    const coverage = (rgba[n]! * rgba[n + 3]!) / 255;
    rgba[n] = red;
    rgba[n + 1] = green;
    rgba[n + 2] = blue;
    rgba[n + 3] = coverage;
  }
}
