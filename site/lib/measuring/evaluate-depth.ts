/** Thickness and height differences in a vertical section. Pure. */
import { type Band, meanProfile } from '../../../shared/profile/band.ts';
import { findEdges } from '../../../shared/profile/find-edges.ts';
import { fitSpan, spansOf } from '../../../shared/profile/gauge.ts';
import { addNoise, emptyNoiseSums, noiseModel } from '../../../shared/profile/noise.ts';
import { TEN_TO_NINETY } from '../../../shared/profile/normal.ts';
import { rectangular } from '../../../shared/uncertainty/budget.ts';
import { MODEL_HALF_PX } from '../../../shared/uncertainty/limits.ts';
import { fromBlur, fromNoise, fromPointing, stated } from './budget.ts';
import type { Evaluated, NotMeasured } from './evaluate.ts';
import type { PointUm, ReadingValue } from './reading.ts';

/** Values of the volume on a stretch of a section, one row for each place along it, from the lowest plate up. */
export interface Columns {
  /** places x heights; places without data all the way up are left out. */
  readonly values: Float64Array;
  readonly places: number;
  readonly zUm: readonly number[];
  readonly stepUm: number;
  /** Least standard deviation of a value that is believed. */
  readonly leastNoise: number;
}

export interface DepthRequest {
  readonly columns: Columns;
  /** Height that the reader pointed at. */
  readonly zUm: number;
  /** Blur in depth, micrometres; null where it was not measured. */
  readonly blur: { readonly sd: number; readonly u: number } | null;
  /** Relative standard uncertainty of lengths in depth. */
  readonly relative: number;
  readonly resolutionUm: number | null;
  /** Where the layer that was pointed at lies; null between layers. */
  readonly span: { readonly bottom_um: number; readonly top_um: number } | null;
  readonly nominalUm: number | null;
}

/** Blur in depth that is assumed for looking, plates. */
const FIRST_BLUR = 1.2;
/** A sixth of the step stands for what interpolation between plates leaves, as in the build's heights. */
const SAMPLING_SHARE = 0.2;

export function thicknessAt(request: DepthRequest): Evaluated | NotMeasured {
  const { columns, zUm, blur, span } = request;
  const { values, places, stepUm } = columns;
  const count = columns.zUm.length;
  if (places === 0 || count < 8) return no('the image holds no data all the way up at this place');
  const band: Band = { lines: places, count, stepPx: 1, lineStepPx: 1, values };
  const profile = meanProfile(band)!;
  const blurPx = blur && { sdPx: blur.sd / stepUm, uncertaintyPx: blur.u / stepUm };
  const base = columns.zUm[0]!;
  const at = (zUm - base) / stepUm;
  const edges = [...findEdges(profile, blurPx?.sdPx ?? FIRST_BLUR)];
  const sums = emptyNoiseSums();
  const soft = blurPx?.sdPx ?? FIRST_BLUR;
  addNoise(sums, band, (n) => edges.every((edge) => Math.abs(edge.atPx - n) > 3 * soft));
  const found = noiseModel(sums);
  const noise = { sd: Math.max(columns.leastNoise, found?.sd ?? 0), correlation: found?.correlation ?? 0.5 };
  const holds = (['bright', 'dark'] as const)
    .flatMap((sense) => spansOf(edges, sense))
    .filter((n) => edges[n]!.atPx < at && edges[n + 1]!.atPx > at);
  // Of two spans that hold the point, the thinner one is the layer, the other what lies between its neighbours.
  const best = holds.sort(
    (a, b) => edges[a + 1]!.atPx - edges[a]!.atPx - (edges[b + 1]!.atPx - edges[b]!.atPx),
  )[0];
  if (best === undefined) {
    return no(
      span
        ? 'no two faces were found above and below this point: wide shapes have none where the missing cone is'
        : 'no two faces were found above and below this point; put it inside a layer',
    );
  }
  const fit = fitSpan(profile, { edges, noise }, best, blurPx);
  if (fit.kind === 'refused')
    return no(
      `the faces above and below this point could not be fitted (${fit.reason}); cut across a narrow line and put the point in its middle`,
    );
  const thickness = fit.widthPx * stepUm;
  const sampling = {
    ...{ name: 'sampling', kind: 'B' as const, u: rectangular(SAMPLING_SHARE * stepUm), dof: null },
    how: 'A fifth of the distance of plates either way, rectangular: heights are interpolated between plates.',
  };
  const scale = {
    ...{ name: 'voxel size', kind: 'B' as const, u: thickness * request.relative, dof: null },
    how: 'Relative uncertainty of the vertical scale.',
  };
  const model = {
    ...{
      name: 'edge threshold',
      kind: 'B' as const,
      u: rectangular(MODEL_HALF_PX[fit.way]) * stepUm,
      dof: null,
    },
    how: 'Half height between plateaus of second order; limits from noise-free trials, rectangular.',
  };
  const noiseDof = found ? Math.max(3, Math.round(sums.varianceTerms / 8)) : null;
  const { value, expanded } = stated(thickness, [
    fromNoise(fit.noisePx * stepUm, noiseDof),
    fromBlur(fit.fromBlurPx * stepUm),
    ...[model, sampling, scale],
  ]);
  const face = (name: string, px: number, noisePx: number): ReadingValue => {
    const of = stated(base + px * stepUm, [fromNoise(noisePx * stepUm, noiseDof), model, sampling]);
    return { name, unit: 'um', value: of.value, expanded: of.expanded, drawn: null };
  };
  return {
    kind: 'evaluated',
    values: [
      { name: 'thickness', unit: 'um', value, expanded, drawn: request.nominalUm },
      face('lower face', fit.leftPx, fit.leftNoisePx),
      face('upper face', fit.rightPx, fit.rightNoisePx),
    ],
    trace: { profile, edgesPx: [fit.leftPx, fit.rightPx], drawnPx: [], from: [0, 0], to: [count - 1, 0] },
    resolutionUm: request.resolutionUm ?? TEN_TO_NINETY * fit.blurPx * stepUm,
    doubts: [
      'The missing cone takes depth away from wide shapes: believe this for lines about as narrow as they are thick.',
      ...(blur
        ? []
        : ['The blur in depth was not measured in the build; it was fitted together with these faces.']),
      ...(found ? [] : ['Too few places were averaged to tell the noise from.']),
    ],
  };
}

const no = (reason: string): NotMeasured => ({ kind: 'refused', reason });

/**
 * @param pointUm what one point may be off by either way, micrometres
 * @param scale relative standard uncertainties of lengths in the plane and in depth
 */
export function heightBetween(
  a: PointUm,
  b: PointUm,
  pointUm: number,
  scale: { readonly plane: number; readonly depth: number },
  resolutionUm: number | null,
): Evaluated {
  const along = Math.hypot(b[0] - a[0], b[1] - a[1]);
  const dz = b[2] - a[2];
  const one = (name: string, v: number, u: number): ReadingValue => {
    const { value, expanded } = stated(v, [
      fromPointing(pointUm, 2),
      {
        ...{ name: 'voxel size', kind: 'B', u, dof: null },
        how: 'Relative uncertainties of the scales in the plane and in depth.',
      },
    ]);
    return { name, unit: 'um', value, expanded, drawn: null };
  };
  const far = Math.hypot(along, dz);
  // A side of a right-angled triangle moves its longest side by its own share of it.
  const ofFar = far > 0 ? Math.hypot(along ** 2 * scale.plane, dz ** 2 * scale.depth) / far : 0;
  return {
    kind: 'evaluated',
    values: [
      one('height difference', dz, Math.abs(dz) * scale.depth),
      one('along the section', along, along * scale.plane),
      one('distance', far, ofFar),
    ],
    ...{ trace: null, resolutionUm, doubts: [] },
  };
}
