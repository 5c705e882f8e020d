/** Black and white for the greys of a picture. Pure. */

/** Share of the pixels left beyond either end. */
const BEYOND = 0.005;
/** A flat picture is not torn apart into its noise. */
const LEAST = 16;

/**
 * @param rgba pixels, four bytes each; transparent ones do not count
 * @returns two greys of 0 to 255, or null where nothing is seen
 */
export function fitLevels(rgba: Uint8ClampedArray): [black: number, white: number] | null {
  const counts = new Uint32Array(256);
  let all = 0;
  for (let n = 0; n < rgba.length; n += 4) {
    if (rgba[n + 3]! < 255) continue;
    // Pictures may have colours; their lightness is what contrast is about.
    counts[Math.round(0.2126 * rgba[n]! + 0.7152 * rgba[n + 1]! + 0.0722 * rgba[n + 2]!)]!++;
    all++;
  }
  if (all === 0) return null;
  const most = BEYOND * all;
  let black = 0;
  for (let sum = counts[0]!; sum <= most && black < 255; sum += counts[black]!) black++;
  let white = 255;
  for (let sum = counts[255]!; sum <= most && white > 0; sum += counts[white]!) white--;
  const lack = LEAST - (white - black);
  if (lack <= 0) return [black, white];
  const low = Math.max(0, Math.min(255 - LEAST, black - Math.floor(lack / 2)));
  return [low, low + LEAST];
}
