/**
 * Colour of a layer by its depth. Lightness rises evenly from the silicon to the top metal, so the order survives
 * any colour blindness and a print in grey; the hue turns slowly from violet ink over clay to straw.
 *
 * @source OKLab and OKLCh: B. Ottosson, "A perceptual color space for image processing" (2020), with its matrices.
 * @source Contrast and relative luminance: WCAG 2.2, definitions of "contrast ratio" and "relative luminance".
 */
export type Rgb = readonly [number, number, number];

/** The dark ground on which all pictures lie. */
export const PLATE_GROUND = '#14161a';
/** The paper, by day and by night. */
export const PAPER_LIGHT = '#f7f3ea';
export const PAPER_DARK = '#1c1e22';

/** Anchors of the ramp in OKLCh, from the silicon up: lightness, chroma, hue in degrees. */
const ANCHORS: readonly (readonly [number, number, number])[] = [
  [0.515, 0.105, 284],
  [0.61, 0.1, 330],
  [0.7, 0.098, 20],
  [0.79, 0.105, 65],
  [0.91, 0.1, 100],
];

/** Colour at a share of the way up the stack, 0 the lowest layer, 1 the highest. */
export function rampColour(share: number): string {
  const wanted = Math.min(1, Math.max(0, share)) * TABLE.at(-1)!.along;
  let n = 1;
  while (n < TABLE.length - 1 && TABLE[n]!.along < wanted) n++;
  const a = TABLE[n - 1]!;
  const b = TABLE[n]!;
  const t = b.along > a.along ? (wanted - a.along) / (b.along - a.along) : 0;
  const lab = a.lab.map((value, axis) => value + (b.lab[axis]! - value) * t) as unknown as Rgb;
  return hexOf(srgbFromOklab(lab));
}

/** Colour of layer n of `count`, counted from the silicon up. A single layer takes the middle. */
export const layerColour = (n: number, count: number): string =>
  rampColour(count > 1 ? n / (count - 1) : 0.5);

/** Points along the ramp with the distance travelled, so that equal shares are equal steps to the eye. */
const TABLE = (() => {
  const samples = 200;
  const table: { along: number; lab: Rgb }[] = [];
  for (let n = 0; n <= samples; n++) {
    const lab = oklabFromAnchors((n / samples) * (ANCHORS.length - 1));
    const last = table.at(-1);
    table.push({ lab, along: last ? last.along + distance(last.lab, lab) : 0 });
  }
  return table;
})();

function oklabFromAnchors(at: number): Rgb {
  const n = Math.min(ANCHORS.length - 2, Math.floor(at));
  const t = at - n;
  const [l0, c0, h0] = ANCHORS[n]!;
  const [l1, c1, h1] = ANCHORS[n + 1]!;
  // The hue turns through red, the short way.
  const turn = ((h1 - h0 + 540) % 360) - 180;
  const hue = ((h0 + turn * t) * Math.PI) / 180;
  const chroma = c0 + (c1 - c0) * t;
  return [l0 + (l1 - l0) * t, chroma * Math.cos(hue), chroma * Math.sin(hue)];
}

/** Distance in OKLab, close to equal for steps that look equal. */
export function distance(a: Rgb, b: Rgb): number {
  return Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]);
}

/** Linear sRGB, clipped to the gamut. */
function linearFromOklab([L, a, b]: Rgb): Rgb {
  const l = (L + 0.3963377774 * a + 0.2158037573 * b) ** 3;
  const m = (L - 0.1055613458 * a - 0.0638541728 * b) ** 3;
  const s = (L - 0.0894841775 * a - 1.291485548 * b) ** 3;
  const clip = (value: number): number => Math.min(1, Math.max(0, value));
  return [
    clip(4.0767416621 * l - 3.3077115913 * m + 0.2309699292 * s),
    clip(-1.2684380046 * l + 2.6097574011 * m - 0.3413193965 * s),
    clip(-0.0041960863 * l - 0.7034186147 * m + 1.707614701 * s),
  ];
}

export function oklabFromLinear([r, g, b]: Rgb): Rgb {
  const l = Math.cbrt(0.4122214708 * r + 0.5363325363 * g + 0.0514459929 * b);
  const m = Math.cbrt(0.2119034982 * r + 0.6806995451 * g + 0.1073969566 * b);
  const s = Math.cbrt(0.0883024619 * r + 0.2817188376 * g + 0.6299787005 * b);
  return [
    0.2104542553 * l + 0.793617785 * m - 0.0040720468 * s,
    1.9779984951 * l - 2.428592205 * m + 0.4505937099 * s,
    0.0259040371 * l + 0.7827717662 * m - 0.808675766 * s,
  ];
}

const srgbFromOklab = (lab: Rgb): Rgb =>
  linearFromOklab(lab).map((v) =>
    v <= 0.0031308 ? 12.92 * v : 1.055 * v ** (1 / 2.4) - 0.055,
  ) as unknown as Rgb;

const hexOf = (rgb: Rgb): string =>
  `#${rgb
    .map((v) =>
      Math.round(v * 255)
        .toString(16)
        .padStart(2, '0'),
    )
    .join('')}`;

/** Linear sRGB of "#rrggbb". */
export function linearOfHex(hex: string): Rgb {
  const channel = (n: number): number => {
    const v = Number.parseInt(hex.slice(1 + 2 * n, 3 + 2 * n), 16) / 255;
    return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
  };
  return [channel(0), channel(1), channel(2)];
}

export function relativeLuminance(hex: string): number {
  const [r, g, b] = linearOfHex(hex);
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
}

/** WCAG contrast ratio, 1 to 21. */
export function contrastRatio(a: string, b: string): number {
  const [light, dark] = [relativeLuminance(a), relativeLuminance(b)].sort((x, y) => y - x) as [
    number,
    number,
  ];
  return (light + 0.05) / (dark + 0.05);
}
