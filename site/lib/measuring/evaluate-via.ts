/** Size of one via inside a box drawn round it: along x, along y, and by area. */
import { meanProfile, type PixelPoint, sampleBand } from '../../../shared/profile/band.ts';
import type { Blur } from '../../../shared/profile/edge.ts';
import { gaugeLine, layPath, type Sense, spansOf } from '../../../shared/profile/gauge.ts';
import type { Sampler } from '../../../shared/profile/sampler.ts';
import { measureVia } from '../../../shared/profile/via.ts';
import { type Contribution, rectangular } from '../../../shared/uncertainty/budget.ts';
import { LANDING_HALF_PX, roundedCornersHalfPx } from '../../../shared/uncertainty/limits.ts';
import { fromBlur, fromNoise, fromScale, stated } from './budget.ts';
import { drawnBeside, drawnSpans } from './drawn-span.ts';
import {
  commonDoubts,
  type Evaluated,
  type Knowledge,
  type NotMeasured,
  type Pixels,
  request,
} from './evaluate.ts';
import type { ReadingValue } from './reading.ts';

const no = (reason: string): NotMeasured => ({ kind: 'refused', reason });

/** @param corners opposite corners of the box, pixels */
export function viaOf(
  [a, b]: readonly [PixelPoint, PixelPoint],
  pixels: Pixels,
  known: Knowledge,
): Evaluated | NotMeasured {
  const { image, drawn } = pixels;
  const box = [
    Math.min(a[0], b[0]),
    Math.min(a[1], b[1]),
    Math.max(a[0], b[0]),
    Math.max(a[1], b[1]),
  ] as const;
  const [x0, y0, x1, y1] = box;
  if (x1 - x0 < 4 || y1 - y0 < 4)
    return no('the box is too small; draw it round the via with ground on all sides');
  const middle = [(x0 + x1) / 2, (y0 + y1) / 2] as const;
  const across: readonly [PixelPoint, PixelPoint] = [
    [x0, middle[1]],
    [x1, middle[1]],
  ];
  const upright: readonly [PixelPoint, PixelPoint] = [
    [middle[0], y0],
    [middle[0], y1],
  ];
  const path = layPath(image, request(...across, Math.max(1, 0.25 * (y1 - y0)), known));
  const column = layPath(image, request(...upright, Math.max(1, 0.25 * (x1 - x0)), known));
  if (!path || !column) return no('the image holds no data all over this box');
  const blur = known.blur ?? blurOf(image, across, known);
  if (!blur) return no('the blur of this scan is not known, and it could not be told from this via');
  const spans = (['bright', 'dark'] as const).flatMap((one) => {
    const [x, y] = [nearest(path.edges, one, (x1 - x0) / 2), nearest(column.edges, one, (y1 - y0) / 2)];
    return x && y ? [{ x, y }] : [];
  });
  // A via inside the box has ground at its borders: of two answers the one that stands further from them.
  const best = spans.reduce<(typeof spans)[number] | null>(
    (kept, one) => (kept && kept.x[1] - kept.x[0] <= one.x[1] - one.x[0] ? kept : one),
    null,
  );
  if (!best) return no('no via was found in this box; draw it round one via, with ground on all sides');
  const centre = [x0 + (best.x[0] + best.x[1]) / 2, y0 + (best.y[0] + best.y[1]) / 2] as const;
  const [width, height] = [best.x[1] - best.x[0], best.y[1] - best.y[0]];
  const clearPx = Math.min(
    ...[centre[0] - width / 2 - x0, x1 - centre[0] - width / 2],
    ...[centre[1] - height / 2 - y0, y1 - centre[1] - height / 2],
  );
  const fit = measureVia(image, {
    ...{ centre, widthPx: width, heightPx: height, clearPx, blur, noise: path.noise },
  });
  if (fit.kind === 'refused') return no(fit.reason);
  const px = known.pixelUm;
  const budget = (size: number, noisePx: number, fromBlurPx: number): Contribution[] => [
    fromNoise(noisePx * px, path.noiseDof),
    fromBlur(fromBlurPx * px),
    {
      ...{
        name: 'rounded corners',
        kind: 'B',
        u: rectangular(roundedCornersHalfPx(size, blur.sdPx)) * px,
        dof: null,
      },
      how: 'Blur brings rounded corners into the central profile; limits from noise-free trials, rectangular.',
    },
    ...(known.stacked
      ? [
          {
            ...{
              name: 'neighbouring layers',
              kind: 'B' as const,
              u: rectangular(LANDING_HALF_PX) * px,
              dof: null,
            },
            how: 'Landings of the metals above and below end beside the via; limits from trials, rectangular.',
          },
        ]
      : []),
    fromScale(size * px, known),
  ];
  const of = drawn ? drawnVia(drawn, across, upright, fit.centre) : null;
  const one = (name: string, size: number, noise: number, blurPart: number, inDrawing: number | null) => {
    const { value, expanded } = stated(size * px, budget(size, noise, blurPart));
    return { name, unit: 'um', value, expanded, drawn: inDrawing === null ? null : inDrawing * px };
  };
  const values: ReadingValue[] = [
    one('size in x', fit.x.widthPx, fit.x.noisePx, fit.x.fromBlurPx, of?.x ?? null),
    one('size in y', fit.y.widthPx, fit.y.noisePx, fit.y.fromBlurPx, of?.y ?? null),
  ];
  if (Number.isFinite(fit.sidePx)) {
    const blurPart = Math.max(fit.x.fromBlurPx, fit.y.fromBlurPx);
    values.unshift(one('side by area', fit.sidePx, fit.sideNoisePx, blurPart, of?.side ?? null));
  }
  const profile = meanProfile(
    sampleBand(image, [x0, fit.centre[1]], [x1, fit.centre[1]], Math.max(1, 0.4 * height)),
  );
  const left = fit.centre[0] - x0 - fit.x.widthPx / 2;
  const drawnX = of ? [fit.centre[0] - x0 - of.x / 2, fit.centre[0] - x0 + of.x / 2] : [];
  return {
    kind: 'evaluated',
    values,
    trace: profile && {
      ...{ profile, edgesPx: [left, left + fit.x.widthPx], drawnPx: drawnX },
      ...{ from: [x0, fit.centre[1]], to: [x1, fit.centre[1]] },
    },
    resolutionUm: known.resolutionUm,
    doubts: commonDoubts(path, known),
  };
}

/** The span of one sense nearest to the middle of a path, as long as it holds that middle. */
function nearest(
  edges: Parameters<typeof spansOf>[0],
  sense: Sense,
  middlePx: number,
): readonly [number, number] | null {
  for (const n of spansOf(edges, sense)) {
    const [from, to] = [edges[n]!.atPx, edges[n + 1]!.atPx];
    if (from < middlePx && to > middlePx) return [from, to];
  }
  return null;
}

function blurOf(image: Sampler, path: readonly [PixelPoint, PixelPoint], known: Knowledge): Blur | null {
  for (const sense of ['bright', 'dark'] as const) {
    const found = gaugeLine(image, request(...path, 3, { ...known, blur: null }), sense);
    if (found.kind === 'gauged') return { sdPx: found.fit.blurPx, uncertaintyPx: 0.1 * found.fit.blurPx };
  }
  return null;
}

/** The drawn via under an imaged one, pixels. */
function drawnVia(
  drawn: Sampler,
  across: readonly [PixelPoint, PixelPoint],
  upright: readonly [PixelPoint, PixelPoint],
  centre: readonly [number, number],
): { x: number; y: number; side: number } | null {
  const [x0, y0] = [across[0][0], upright[0][1]];
  const along = (path: readonly [PixelPoint, PixelPoint], middle: number) =>
    drawnBeside(drawnSpans(drawn, { from: path[0], to: path[1] }, 'bright'), {
      ...{ leftPx: middle - 1, rightPx: middle + 1 },
    });
  const x = along(
    [
      [x0, centre[1]],
      [across[1][0], centre[1]],
    ],
    centre[0] - x0,
  );
  const y = along(
    [
      [centre[0], y0],
      [centre[0], upright[1][1]],
    ],
    centre[1] - y0,
  );
  if (!x || !y) return null;
  const [w, h] = [x.rightPx - x.leftPx, y.rightPx - y.leftPx];
  return { x: w, y: h, side: Math.sqrt(w * h) };
}
