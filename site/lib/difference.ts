/**
 * Image against drawing in a small window: the grey of the image as a straight line over the coverage of the drawing,
 * and what is left of it. For small pictures that a reader looks at; findings come from the comparison, not from here.
 */

/** Less contrast than this, in grey levels of 0 to 255, shows nothing. */
const FAINT = 6;
/** Least correlation of grey and coverage over the whole picture for a contrast to mean anything. */
const LOOSE = 0.1;

/**
 * Grey of full coverage above the ground, by least squares of grey over coverage; negative where dense comes out
 * dark. Best taken from the whole picture in coarse pixels: where a shape is missing, its surroundings may hold no
 * other.
 * @param image RGBA, grey in red, transparent without data
 * @param drawing RGBA, coverage in red, same size
 * @returns null where all is drawn, nothing is, or the image does not follow the drawing
 */
export function fitContrast(image: Uint8ClampedArray, drawing: Uint8ClampedArray): number | null {
  let n = 0;
  let [sx, sy, sxx, sxy, syy] = [0, 0, 0, 0, 0];
  for (let at = 0; at < image.length; at += 4) {
    if (image[at + 3]! < 255) continue;
    const x = drawing[at]! / 255;
    const y = image[at]!;
    n++;
    sx += x;
    sy += y;
    sxx += x * x;
    sxy += x * y;
    syy += y * y;
  }
  if (n === 0) return null;
  const spread = sxx - (sx * sx) / n;
  const common = sxy - (sx * sy) / n;
  const own = syy - (sy * sy) / n;
  if (!(spread > 0 && own > 0)) return null;
  const contrast = common / spread;
  const correlation = common / Math.sqrt(spread * own);
  return Math.abs(contrast) < FAINT || Math.abs(correlation) < LOOSE ? null : contrast;
}

/** Grey of the ground in a small window, given the contrast: the median, which a fault does not move far. */
export function localGround(
  image: Uint8ClampedArray,
  drawing: Uint8ClampedArray,
  contrast: number,
): number | null {
  const values: number[] = [];
  for (let at = 0; at < image.length; at += 4) {
    if (image[at + 3]! === 255) values.push(image[at]! - (contrast * drawing[at]!) / 255);
  }
  values.sort((a, b) => a - b);
  return values.length === 0 ? null : values[values.length >> 1]!;
}

export interface GreyFit {
  readonly ground: number;
  readonly contrast: number;
}

type Rgb = readonly [number, number, number];
const GROUND: Rgb = [11, 12, 14];
/** Less than drawn, more than drawn: two hues that all readers tell apart. */
export const LESS: Rgb = [243, 163, 74];
export const MORE: Rgb = [111, 190, 240];

/** Writes the difference as colour: orange where the image shows less than the drawing, blue where it shows more. */
export function paintDifference(
  image: Uint8ClampedArray,
  drawing: Uint8ClampedArray,
  fit: GreyFit,
  out: Uint8ClampedArray,
): void {
  for (let at = 0; at < image.length; at += 4) {
    const d =
      image[at + 3]! < 255
        ? 0
        : (image[at]! - fit.ground - (fit.contrast * drawing[at]!) / 255) / fit.contrast;
    const share = Math.min(1, Math.abs(d));
    const hue = d < 0 ? LESS : MORE;
    for (let c = 0; c < 3; c++) out[at + c] = GROUND[c]! + (hue[c]! - GROUND[c]!) * share;
    out[at + 3] = 255;
  }
}

/**
 * Stretches greys from black to white between the 1st and 99th hundredth of the window, in place.
 * @param least range of greys, below which noise alone would be blown up to a picture
 */
export function stretchGrey(pixels: Uint8ClampedArray, least: number): void {
  const counts = new Uint32Array(256);
  let n = 0;
  for (let at = 0; at < pixels.length; at += 4) {
    if (pixels[at + 3]! < 255) continue;
    counts[pixels[at]!]!++;
    n++;
  }
  if (n === 0) return;
  const level = (share: number): number => {
    let sum = 0;
    for (let grey = 0; grey < 256; grey++) {
      sum += counts[grey]!;
      if (sum >= share * n) return grey;
    }
    return 255;
  };
  const [darkest, lightest] = [level(0.01), level(0.99)];
  const range = Math.max(least, lightest - darkest, 1);
  const low = (darkest + lightest - range) / 2;
  stretchBetween(pixels, low, low + range);
}

/** The two levels of a fit, with a little room beyond each: what is missing comes out as dark as the ground. */
export function stretchToFit(pixels: Uint8ClampedArray, { ground, contrast }: GreyFit): void {
  const room = 0.2 * Math.abs(contrast);
  stretchBetween(
    pixels,
    Math.min(ground, ground + contrast) - room,
    Math.max(ground, ground + contrast) + room,
  );
}

function stretchBetween(pixels: Uint8ClampedArray, black: number, white: number): void {
  const scale = 255 / (white - black);
  for (let at = 0; at < pixels.length; at += 4) {
    const grey = (pixels[at]! - black) * scale;
    pixels[at] = pixels[at + 1] = pixels[at + 2] = grey;
  }
}
