/** From points on pixels to values: what each tool of a plate measures. Pure; pixels come from whoever fetched them. */
import type { PixelPoint, Profile } from '../../../shared/profile/band.ts';
import type { Blur } from '../../../shared/profile/edge.ts';
import {
  type GaugedLine,
  type GaugedPitch,
  gaugeLine,
  gaugePitch,
  layPath,
  type Path,
  type Sense,
  spansOf,
} from '../../../shared/profile/gauge.ts';
import { TEN_TO_NINETY } from '../../../shared/profile/normal.ts';
import { fitPitch } from '../../../shared/profile/pitch.ts';
import type { Sampler } from '../../../shared/profile/sampler.ts';
import { fromAngle, fromBlur, fromModel, fromNoise, fromScale, type ScaleKnown, stated } from './budget.ts';
import { drawnBeside, drawnSpans } from './drawn-span.ts';
import type { ReadingValue } from './reading.ts';

/** The picture that is measured, in pixels of the plate grid. */
export interface Pixels {
  /** Greys 0 to 255; NaN where there is no data. */
  readonly image: Sampler;
  /** Coverage of the drawing, 0 to 255; null where there is none. */
  readonly drawn: Sampler | null;
  /** What greys stand for. */
  readonly grey: { readonly unit: string; readonly black: number; readonly white: number };
}

export interface Knowledge extends ScaleKnown {
  /** Blur of the scan as the build measured it, pixels; null where it did not. */
  readonly blur: Blur | null;
  /** 1 where what is drawn comes out brighter than the ground, -1 where darker. */
  readonly sign: 1 | -1;
  /** Whether other layers lie above and below. */
  readonly stacked: boolean;
  /** 10 to 90 % of an edge in the plane, micrometres; null where it is not known. */
  readonly resolutionUm: number | null;
}

/** What is drawn beside the numbers. */
export interface Trace {
  readonly profile: Profile;
  /** Edges found, pixels along the path. */
  readonly edgesPx: readonly number[];
  readonly drawnPx: readonly number[];
  /** The path as it was measured. */
  readonly from: PixelPoint;
  readonly to: PixelPoint;
}

export interface Evaluated {
  readonly kind: 'evaluated';
  readonly values: readonly ReadingValue[];
  readonly trace: Trace | null;
  readonly resolutionUm: number | null;
  readonly doubts: readonly string[];
}

export interface NotMeasured {
  readonly kind: 'refused';
  readonly reason: string;
}

/** Rounding to whole greys spreads by so much. @source JCGM 100:2008 F.2.2.1: interval over the square root of 12 */
export const ROUNDING = 1 / Math.sqrt(12);
const DEGREES = 180 / Math.PI;
/** A path that was turned by less than this is as the reader drew it. */
const TURNED = 1 / DEGREES;
/** Share of a profile at the ends of the greys from which its shape is in doubt. */
const CLIPPED_SHARE = 0.1;

const nameOf = { width: 'width', space: 'space' } as const;

/** Width of a line, or the space between two. */
export function spanOf(
  what: 'width' | 'space',
  [from, to]: readonly [PixelPoint, PixelPoint],
  widthPx: number,
  { image, drawn }: Pixels,
  known: Knowledge,
): Evaluated | NotMeasured {
  const sense: Sense = (what === 'width') === known.sign > 0 ? 'bright' : 'dark';
  const found = gaugeLine(image, request(from, to, widthPx, known), sense);
  if (found.kind === 'refused') return found;
  const { fit, path } = found;
  const beside = drawn
    ? drawnBeside(drawnSpans(drawn, path, what === 'width' ? 'bright' : 'dark'), fit)
    : null;
  const px = known.pixelUm;
  const size = fit.widthPx * px;
  const { value, expanded } = stated(size, [
    fromNoise(fit.noisePx * px, path.noiseDof),
    fromBlur(fit.fromBlurPx * px),
    ...fromModel(fit.way, px, known.stacked),
    fromAngle(size, found.askewU),
    fromScale(size, known),
  ]);
  const drawnUm = beside ? (beside.rightPx - beside.leftPx) * px : null;
  return {
    kind: 'evaluated',
    values: [{ name: nameOf[what], unit: 'um', value, expanded, drawn: drawnUm }],
    trace: {
      ...{ profile: path.profile, from: path.from, to: path.to, edgesPx: [fit.leftPx, fit.rightPx] },
      drawnPx: beside ? [beside.leftPx, beside.rightPx] : [],
    },
    resolutionUm: known.resolutionUm ?? ownResolution(found, known),
    doubts: [
      ...severalWords(what, spansOf(path.edges, sense).length),
      ...turnedWords([from, to], path),
      ...commonDoubts(path, known),
    ],
  };
}

export function pitchOf(
  [from, to]: readonly [PixelPoint, PixelPoint],
  widthPx: number,
  { image, drawn }: Pixels,
  known: Knowledge,
): Evaluated | NotMeasured {
  const found: GaugedPitch | NotMeasured = gaugePitch(image, request(from, to, widthPx, known));
  if (found.kind === 'refused') return found;
  const { fit, path, lines } = found;
  const px = known.pixelUm;
  const size = fit.pitchPx * px;
  const { value, expanded } = stated(size, [
    fromNoise(fit.noisePx * px, path.noiseDof),
    fromAngle(size, found.askewU),
    fromScale(size, known),
  ]);
  const sense: Sense = lines[0]!.contrast * known.sign > 0 ? 'bright' : 'dark';
  const spans = drawn ? drawnSpans(drawn, path, sense) : [];
  const beside = lines.map((line) => drawnBeside(spans, line));
  const middles = beside.map((span) => (span ? (span.leftPx + span.rightPx) / 2 : Number.NaN));
  const drawnPitch = middles.every(Number.isFinite) ? (fitPitch(middles, 0)?.pitchPx ?? null) : null;
  return {
    kind: 'evaluated',
    values: [
      { name: 'pitch', unit: 'um', value, expanded, drawn: drawnPitch === null ? null : drawnPitch * px },
      { name: 'periods', unit: '1', value: fit.periods, expanded: null, drawn: null },
    ],
    trace: {
      ...{ profile: path.profile, from: path.from, to: path.to },
      edgesPx: lines.flatMap((line) => [line.leftPx, line.rightPx]),
      drawnPx: beside.flatMap((span) => (span ? [span.leftPx, span.rightPx] : [])),
    },
    resolutionUm: known.resolutionUm,
    doubts: [...turnedWords([from, to], path), ...commonDoubts(path, known)],
  };
}

/** From grey to the unit of the volume. */
export const greysOfWindow =
  ({ black, white }: { readonly black: number; readonly white: number }) =>
  (grey: number): number =>
    black + ((white - black) * grey) / 255;

/** Greys along a path, in the unit of the volume. */
export function greysOf(
  [from, to]: readonly [PixelPoint, PixelPoint],
  widthPx: number,
  { image, grey }: Pixels,
  known: Knowledge,
): Evaluated | NotMeasured {
  const path = layPath(image, request(from, to, widthPx, known));
  if (!path || path.band.count < 2)
    return { kind: 'refused', reason: 'the image holds no data all along this path' };
  const inUnit = greysOfWindow(grey);
  const { values } = path.profile;
  let [low, high, sum] = [Infinity, -Infinity, 0];
  for (const v of values) {
    low = Math.min(low, v);
    high = Math.max(high, v);
    sum += v;
  }
  const one = (name: string, v: number): ReadingValue => ({
    ...{ name, unit: grey.unit, value: inUnit(v), expanded: null, drawn: null },
  });
  return {
    kind: 'evaluated',
    values: [
      one('mean', sum / values.length),
      one('lowest', low),
      one('highest', high),
      {
        ...{
          name: 'length',
          unit: 'um',
          value: Math.hypot(to[0] - from[0], to[1] - from[1]) * known.pixelUm,
        },
        ...{ expanded: null, drawn: null },
      },
    ],
    trace: {
      ...{ profile: path.profile, from: path.from, to: path.to },
      ...{ edgesPx: path.edges.map((edge) => edge.atPx), drawnPx: [] },
    },
    resolutionUm: known.resolutionUm,
    doubts: clippedWords(path),
  };
}

export const request = (from: PixelPoint, to: PixelPoint, widthPx: number, known: Knowledge) => ({
  ...{ from, to, widthPx, blur: known.blur, leastNoise: ROUNDING },
});

const ownResolution = ({ fit }: GaugedLine, { pixelUm }: ScaleKnown): number =>
  TEN_TO_NINETY * fit.blurPx * pixelUm;

const severalWords = (what: 'width' | 'space', spans: number): string[] =>
  spans > 1
    ? [
        `${spans} ${what === 'width' ? 'lines' : 'spaces'} lie on this path; the one nearest its middle was measured.`,
      ]
    : [];

function turnedWords([from, to]: readonly [PixelPoint, PixelPoint], path: Path): string[] {
  const angle = (a: PixelPoint, b: PixelPoint) => Math.atan2(b[1] - a[1], b[0] - a[0]);
  const turned = Math.abs(angle(from, to) - angle(path.from, path.to));
  const least = Math.min(turned, 2 * Math.PI - turned);
  return least > TURNED
    ? [`The path was turned by ${Math.round(least * DEGREES)}° to stand square to the edges.`]
    : [];
}

export function commonDoubts(path: Path, known: Knowledge): string[] {
  return [
    ...(known.blur
      ? []
      : ['The blur of this scan was not measured in the build; it was fitted together with these edges.']),
    ...(path.noiseDof === null
      ? ['Too few scan lines to tell the noise from: average over more for an interval that holds.']
      : []),
    ...clippedWords(path),
  ];
}

function clippedWords({ profile }: Path): string[] {
  let clipped = 0;
  for (const v of profile.values) if (v <= 0.5 || v >= 254.5) clipped++;
  return clipped > CLIPPED_SHARE * profile.values.length
    ? ['Greys on this path reach black or white, where the tiles cut them off: edges may stand a little off.']
    : [];
}
