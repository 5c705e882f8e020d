/** How readings are worded: values with their interval, points, and the method behind each tool. */

import { plusMinus } from '../measurement-rows.ts';
import { formatFigures, formatFixed, formatLength } from '../numbers.ts';
import type { ReadingKind, ReadingValue } from './reading.ts';

const NBSP = '\u00a0';
const PLUS_MINUS = `${NBSP}±${NBSP}`;

/** Decimals at which a half-width shows two figures, none to `most`. */
const decimalsFor = (half: number, most: number): number =>
  half > 0 ? Math.min(most, Math.max(0, 1 - Math.floor(Math.log10(half)))) : Math.min(most, 2);

/** "152 ± 6 nm", "12.345 ± 0.023 µm", "31.2 ± 0.4°", "1.34 e/Å³". */
export function valueWords({ value, unit, expanded }: ReadingValue): string {
  if (unit === 'um') {
    if (expanded === null) return formatLength(value);
    if (Math.abs(value) < 10) return plusMinus(value, expanded);
    const decimals = decimalsFor(expanded, 4);
    return `${formatFixed(value, decimals)}${PLUS_MINUS}${formatFixed(expanded, decimals)}${NBSP}µm`;
  }
  if (unit === 'um2' || unit === 'deg') {
    const sign = unit === 'deg' ? '°' : `${NBSP}µm²`;
    if (expanded === null) return `${formatFigures(value, 4)}${sign}`;
    const decimals = decimalsFor(expanded, 6);
    return `${formatFixed(value, decimals)}${PLUS_MINUS}${formatFixed(expanded, decimals)}${sign}`;
  }
  if (unit === '1') return formatFigures(value, 3).replace(/\.?0+$/, '') || '0';
  return `${formatFigures(value, 4)}${unit === 'arbitrary' ? '' : `${NBSP}${unit}`}`;
}

/** "drawn 140 nm, imaged 152 ± 6 nm" where the drawing has it, the value alone where not. */
export function besideWords(value: ReadingValue): string {
  const imaged = valueWords(value);
  return value.drawn === null ? imaged : `drawn ${drawnWords(value.drawn)}, imaged ${imaged}`;
}

/** Drawings are made on a grid of nanometres. */
export const drawnWords = (um: number): string =>
  um < 10 ? `${formatFixed(um * 1000, 0)}${NBSP}nm` : `${formatFixed(um, 3)}${NBSP}µm`;

export interface MethodWords {
  readonly title: string;
  readonly text: string;
  readonly source: string;
  /** The entry of the measurements page that says more, where there is one. */
  readonly build: string | null;
}

const HAND =
  'Follows from where the points were put, not from the image. Each coordinate is set to one screen pixel, or one image pixel where that is larger, either way (rectangular); the pixel size counts with its uncertainty from the placement.';
const SPAN =
  'Pixels of the plate at full resolution, between them by cubic convolution. Scan lines one pixel apart on either side of the path are averaged. Edges are looked for where grey changes by a third of its range, the path is turned square to them, and both are fitted: half height of a step blurred by a Gaussian, on a ground of second order. Where the build measured the blur of the scan, it is taken off; a line narrower than 1.4 full widths of the blur is refused. The interval is 95 %: noise told from the scan lines, blur, edge model, neighbouring layers, angle of the path and pixel size together.';

export const METHOD_WORDS: Readonly<Record<ReadingKind, MethodWords>> = {
  width: {
    ...{ title: 'Width, on a path drawn by hand', text: SPAN, build: 'line-width' },
    source:
      'Line width at a stated height and edge criterion: glossary citing ASTM F127-84. Uncertainty: JCGM 100:2008 4.3, 5.1, G.4.',
  },
  space: {
    ...{ title: 'Space, on a path drawn by hand', text: SPAN, build: 'space' },
    source: 'As width, between the facing edges of neighbouring lines.',
  },
  pitch: {
    ...{ title: 'Pitch, on a path drawn by hand', build: 'pitch' },
    text: `All equal lines that the path crosses whole are measured as widths are; the pitch is the slope of their middles against their number. Middles move neither with the threshold nor with the blur. ${SPAN}`,
    source: 'Distance between same-side edges of neighbouring equal features: common practice, no source.',
  },
  via: {
    ...{ title: 'Via size, in a box drawn by hand', build: 'via-area' },
    text: 'Along x and along y on the mean of the central two fifths of the via, both edges fitted together with the blur of the scan. By area: the area within the half-height contour, corrected by what the same contour of a blurred rectangle loses, as the side of the square of equal area.',
    source: 'As width; equal area: common practice, no source.',
  },
  distance: {
    ...{ title: 'Distance between two points', text: HAND, build: null },
    source: 'JCGM 100:2008 4.3.7 (rectangular limits), 5.1.2.',
  },
  angle: {
    ...{ title: 'Angle at the second of three points', text: HAND, build: null },
    source: 'JCGM 100:2008 4.3.7, 5.1.2.',
  },
  area: {
    ...{
      title: 'Area and perimeter of an outline',
      text: `Sum of cross products of the corners. ${HAND}`,
      build: null,
    },
    source: 'Shoelace formula; JCGM 100:2008 5.1.2 for what each corner moves.',
  },
  profile: {
    ...{ title: 'Grey profile', build: null },
    text: 'Pixels of the plate at full resolution along the path, between them by cubic convolution, averaged over scan lines one pixel apart. Greys are given in the unit of the volume, as the tiles keep them: 256 steps, compressed with loss.',
    source: 'Keys, IEEE Trans. Acoust. Speech Signal Process. 29, 1153 (1981), for the interpolation.',
  },
  thickness: {
    ...{ title: 'Thickness, in a vertical section', build: 'thickness' },
    text: 'The section is averaged along the path over the width that was set. The two faces round the point are fitted as the edges of a line are, at half height; blur in depth is taken from the build where it measured it. The missing cone takes the inside of wide shapes away, so a thickness holds for lines about as narrow as they are thick. The interval is 95 %.',
    source: 'As width, along Z; missing cone: Fourier slice theorem.',
  },
  height: {
    ...{ title: 'Height difference between two points', text: HAND, build: null },
    source: 'JCGM 100:2008 4.3.7, 5.1.2.',
  },
};
