/** Sizes of the vias of a layer, grouped by what is drawn. */
import type { LayerMeasurements } from '../../../shared/artefacts/measurements.ts';
import type { PlateGrid } from '../../../shared/frames.ts';
import type { Blur } from '../../../shared/profile/edge.ts';
import { LEAST_IN_BLURS } from '../../../shared/profile/line.ts';
import type { NoiseModel } from '../../../shared/profile/noise.ts';
import { FULL_WIDTH_HALF_MAXIMUM } from '../../../shared/profile/normal.ts';
import type { ViaFit } from '../../../shared/profile/via.ts';
import { type Contribution, rectangular } from '../../../shared/uncertainty/budget.ts';
import { LANDING_HALF_PX, roundedCornersHalfPx } from '../../../shared/uncertainty/limits.ts';
import { median } from '../../kernels/statistics.ts';
import type { LayerInput } from './layer-input.ts';
import type { Refused } from './measure-lines.ts';
import { type Reading, sharedVariance } from './pool.ts';
import { LEAST_READINGS, quantityOf, type ScaleOfPixel } from './quantities.ts';
import { spreadOf } from './robust.ts';
import { chooseVias, fitVias, viaNoise } from './via-sites.ts';

const MOST_VIAS = 400;
const LEAST_GAP = 4.7;
const LEAST_SHARE = 0.7;

export interface ViaResults {
  readonly vias: LayerMeasurements['vias'];
  readonly refused: Refused[];
  readonly contrast: number | null;
  readonly contrastU: number;
  readonly noise: NoiseModel | null;
}

export function measureVias(
  input: LayerInput,
  grid: PlateGrid,
  blur: Blur,
  scale: ScaleOfPixel,
  seed: number,
): ViaResults {
  const sites = chooseVias(input.shapes, grid, LEAST_GAP * blur.sdPx, MOST_VIAS, seed);
  const noise = viaNoise(input.sample, sites, blur.sdPx);
  const refused: Refused[] = [];
  const empty = { vias: [], refused, contrast: null, contrastU: 0, noise };
  if (sites.length < LEAST_READINGS || !noise) {
    if (input.shapes.polygons.length > 0)
      refused.push({
        ...{ what: 'via size', drawn_um: null, tried: sites.length },
        reason: 'too few vias stand alone with data all round',
      });
    return empty;
  }
  const first = fitVias(input.sample, sites, blur, noise, [0, 0]);
  const seen = first.flatMap(({ fit }) => (fit ? [fit] : []));
  const sign = seen.filter((f) => f.x.contrast > 0).length * 2 >= seen.length ? 1 : -1;
  const groups = new Map<string, { w: number; h: number; tried: number; fits: ViaFit[] }>();
  for (const { site, fit } of first) {
    const key = `${Math.round(site.widthPx * grid.pixel_um * 1000)} ${Math.round(site.heightPx * grid.pixel_um * 1000)}`;
    const group = groups.get(key) ?? { w: site.widthPx, h: site.heightPx, tried: 0, fits: [] };
    groups.set(key, group);
    group.tried++;
    if (fit && fit.x.contrast * sign > 0 && fit.y.contrast * sign > 0) group.fits.push(fit);
  }
  const least = LEAST_IN_BLURS * FULL_WIDTH_HALF_MAXIMUM * blur.sdPx;
  const vias: LayerMeasurements['vias'] = [];
  for (const { w, h, tried, fits } of [...groups.values()].sort((a, b) => a.w * a.h - b.w * b.h)) {
    const refuse = (reason: string) =>
      refused.push({ what: 'via size', drawn_um: Math.sqrt(w * h) * grid.pixel_um, tried, reason });
    if (tried < LEAST_READINGS) continue;
    if (Math.min(w, h) < least) refuse('drawn smaller than the blur lets tell size from contrast');
    else if (fits.length < Math.max(LEAST_READINGS, LEAST_SHARE * tried))
      refuse(
        `only ${fits.length} of ${tried} vias stand out from the noise; their median would favour the strong ones`,
      );
    else {
      const of = (pick: (f: ViaFit) => number, drawnPx: number, method: string) => {
        const readings: Reading[] = fits.flatMap((f, n) =>
          Number.isNaN(pick(f)) ? [] : [{ shape: String(n), value: pick(f) }],
        );
        if (readings.length < LEAST_READINGS) return null;
        const variance = spreadOf(readings.map((r) => r.value)).sd ** 2;
        const shared = { ...sharedVariance([readings], variance), within: variance, between: 0 };
        const extra = viaBudget(fits, blur, Math.min(w, h));
        return quantityOf(readings, shared, drawnPx, scale, { method, scales: true, extra });
      };
      const x = of((f) => f.x.widthPx, w, 'via-size');
      const y = of((f) => f.y.widthPx, h, 'via-size');
      const side = of((f) => f.sidePx, Math.sqrt(w * h), 'via-area');
      if (x && y) vias.push({ drawn_x_um: w * grid.pixel_um, drawn_y_um: h * grid.pixel_um, x, y, side });
    }
  }
  const contrasts = seen.filter((f) => f.x.contrast * sign > 0).map((f) => (f.x.contrast + f.y.contrast) / 2);
  const spread = spreadOf(contrasts);
  return {
    ...{ vias, refused, noise },
    contrast: contrasts.length >= LEAST_READINGS ? spread.median : null,
    contrastU: spread.sd / Math.sqrt(Math.max(1, spread.n)),
  };
}

function viaBudget(fits: readonly ViaFit[], blur: Blur, sizePx: number): Contribution[] {
  const corners = roundedCornersHalfPx(sizePx, blur.sdPx);
  return [
    {
      ...{ name: 'blur', kind: 'A', u: median(fits.map((f) => f.x.fromBlurPx)), dof: null },
      how: 'Both edges fitted together with the blur of the scan; uncertainty of that blur times the sensitivity.',
    },
    {
      ...{ name: 'rounded corners', kind: 'B', u: rectangular(corners), dof: null },
      how: 'Blur brings rounded corners into the central profile; limits from noise-free trials, rectangular.',
    },
    {
      ...{ name: 'neighbouring layers', kind: 'B', u: rectangular(LANDING_HALF_PX), dof: null },
      how: 'Landings of the metals above and below end beside the via; limits from trials, rectangular.',
    },
  ];
}
