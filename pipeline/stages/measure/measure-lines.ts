/** Widths, spaces, pitches and edge placement of one conductor layer, grouped by what is drawn. */
import type { LayerMeasurements, Quantity } from '../../../shared/artefacts/measurements.ts';
import { LEAST_IN_BLURS, type LineFit } from '../../../shared/profile/line.ts';
import { FULL_WIDTH_HALF_MAXIMUM } from '../../../shared/profile/normal.ts';
import { type Contribution, rectangular } from '../../../shared/uncertainty/budget.ts';
import { MODEL_HALF_PX, OVERLAID_HALF_PX } from '../../../shared/uncertainty/limits.ts';
import { median } from '../../kernels/statistics.ts';
import type { SiteYield } from './fit-site.ts';
import { type Reading, sharedVariance } from './pool.ts';
import { type Grouped, groupByDrawn, LEAST_READINGS, quantityOf, type ScaleOfPixel } from './quantities.ts';
import type { Site } from './sites.ts';

export type Refused = LayerMeasurements['refused'][number];

/**
 * Halos of the plugs above and below a line lie along it and move its edges in step: pixels of width either way where
 * plugs so many times as strong as the line stand near. From trials: next to nothing for copper on copper, 0.13 px for
 * tungsten on copper, 0.3 px for tungsten on aluminium, whose lines tungsten ten times as strong hems in.
 */
export const haloHalfPx = (plugContrast: number): number =>
  plugContrast > 0 ? 0.02 + 0.1 * Math.sqrt(Math.max(0, plugContrast - 1)) : 0;
/** Profiles that must yield a fit before their median speaks for all. */
const LEAST_SHARE = 0.7;

export interface LineContext {
  readonly scale: ScaleOfPixel;
  readonly blurPx: number;
  readonly sign: number;
  /** Contrast of the strongest via layer next to this one over its own. */
  readonly plugContrast: number;
  /** Whether edges of another layer run along those of a site. */
  readonly overlaid: (site: Site) => boolean;
  /** Whether vias of the layer below or above stand near the edges of a site. */
  readonly plugged: (site: Site) => boolean;
}

interface Item {
  readonly drawnPx: number;
  readonly reading: Reading;
  readonly fit: LineFit | null;
  readonly overlaid: boolean;
  readonly plugged: boolean;
}

export interface LineResults {
  readonly widths: Quantity[];
  readonly spaces: Quantity[];
  readonly pitches: Quantity[];
  readonly refused: Refused[];
}

/** Name of the line a site lies on: its direction and where its edge lies across it. */
export function shapeOf(site: Site, pixelUm: number): string {
  const [ux, uy] = site.direction;
  const across = site.startUm[0] * ux + site.startUm[1] * uy + site.drawnPx[site.own]![0] * pixelUm;
  return [ux.toFixed(2), uy.toFixed(2), Math.round(across / pixelUm)].join();
}

export function measureLines(yields: readonly SiteYield[], context: LineContext): LineResults {
  const { scale, sign } = context;
  const px = scale.pixelUm;
  const refused: Refused[] = [];
  const list = (
    drawn: (y: SiteYield) => number,
    fitted: (y: SiteYield) => LineFit | null,
    polarity: number,
  ): Item[] =>
    yields.flatMap((y) => {
      const drawnPx = drawn(y);
      if (Number.isNaN(drawnPx)) return [];
      const found = fitted(y);
      const good = found && found.contrast * sign * polarity > 0 ? found : null;
      const reading = { shape: shapeOf(y.site, px), value: good?.widthPx ?? Number.NaN };
      const { overlaid, plugged } = context;
      return [{ drawnPx, reading, fit: good, overlaid: overlaid(y.site), plugged: plugged(y.site) }];
    });
  const widths = sized(
    'line width',
    list(
      (y) => y.drawnWidthPx,
      (y) => y.line,
      1,
    ),
    context,
    refused,
  );
  const spaces = sized(
    'space',
    list(
      (y) => y.drawnSpacePx,
      (y) => y.space,
      -1,
    ),
    context,
    refused,
  );
  const pitchItems = yields.flatMap((y) =>
    y.pitch && y.line && y.line.contrast * sign > 0
      ? [{ drawnPx: y.drawnPitchPx, reading: { shape: shapeOf(y.site, px), value: y.pitch.pitchPx } }]
      : [],
  );
  const pitchGroups = groupByDrawn(pitchItems, px).filter((g) => g.readings.length >= LEAST_READINGS);
  const shared = sharedVariance(
    pitchGroups.map((g) => g.readings),
    median(yields.flatMap((y) => (y.pitch ? [y.pitch.noisePx ** 2] : []))),
  );
  const pitches = pitchGroups.map((g) =>
    quantityOf(g.readings, shared, g.drawnPx, scale, { method: 'pitch', scales: true, extra: [] }),
  );
  return { widths, spaces, pitches, refused };
}

/** Lines enough to speak for the rest. */
const enough = (items: Item[]): Item[] | null =>
  items.length >= 12 && new Set(items.map((item) => item.reading.shape)).size >= 4 ? items : null;

function sized(what: string, items: readonly Item[], context: LineContext, refused: Refused[]): Quantity[] {
  const { scale, blurPx } = context;
  const least = LEAST_IN_BLURS * FULL_WIDTH_HALF_MAXIMUM * blurPx;
  const kept: { group: Grouped; items: Item[] }[] = [];
  for (const group of groupByDrawn(items, scale.pixelUm)) {
    const own = items.filter((item) => group.readings.includes(item.reading));
    const fitted = own.filter((item) => item.fit !== null);
    const drawn_um = group.drawnPx * scale.pixelUm;
    const refuse = (reason: string) => refused.push({ what, drawn_um, tried: own.length, reason });
    if (own.length < LEAST_READINGS) continue;
    if (group.drawnPx < least) {
      refuse(
        `drawn narrower than ${LEAST_IN_BLURS} full widths at half maximum of the blur (${Math.round(least * scale.pixelUm * 1000)} nm): width and contrast of such a line look alike`,
      );
    } else if (fitted.length < Math.max(LEAST_READINGS, LEAST_SHARE * own.length)) {
      refuse(
        `only ${fitted.length} of ${own.length} profiles stand out from the noise; their median would favour the strong ones`,
      );
    } else {
      // Where enough lines have nothing parallel, and no via, above or below, only those speak.
      const chosen =
        enough(fitted.filter((item) => !item.overlaid && !item.plugged)) ??
        enough(fitted.filter((item) => !item.overlaid)) ??
        fitted;
      kept.push({ group: { drawnPx: group.drawnPx, readings: chosen.map((i) => i.reading) }, items: chosen });
    }
  }
  const noise = median(kept.flatMap((k) => k.items.map((i) => i.fit!.noisePx ** 2)));
  const shared = sharedVariance(
    kept.map((k) => k.group.readings),
    noise,
  );
  return kept.map(({ group, items: chosen }) => {
    const overlaid = chosen.filter((item) => item.overlaid).length / chosen.length;
    const plugged = chosen.filter((item) => item.plugged).length / chosen.length;
    const joint = chosen.filter((item) => item.fit!.way === 'joint').length * 2 > chosen.length;
    const extra: Contribution[] = [
      {
        name: 'blur',
        kind: 'A',
        u: median(chosen.map((item) => item.fit!.fromBlurPx)),
        dof: null,
        how: joint
          ? 'Both edges fitted together with the blur of the scan; uncertainty of that blur times the sensitivity.'
          : 'Edges fitted apart: the blur hardly moves them.',
      },
      {
        name: 'edge threshold',
        kind: 'B',
        u: rectangular(joint ? MODEL_HALF_PX.joint : MODEL_HALF_PX.apart),
        dof: null,
        how: 'Half height between plateaus of second order; limits from noise-free trials, rectangular.',
      },
      ...(context.plugContrast > 0 && plugged > 0
        ? [
            {
              name: 'halos of vias',
              kind: 'B' as const,
              u: rectangular(plugged * haloHalfPx(context.plugContrast)),
              dof: null,
              how: `The missing cone smears vias into the plates of this layer, ${context.plugContrast.toFixed(1)} times its own contrast; they stand near ${Math.round(100 * plugged)} % of the profiles; limits from trials, rectangular.`,
            },
          ]
        : []),
      ...(overlaid > 0
        ? [
            {
              name: 'neighbouring layers',
              kind: 'B' as const,
              u: rectangular(OVERLAID_HALF_PX * overlaid),
              dof: null,
              how: `Edges of the next layers run along ${Math.round(100 * overlaid)} % of the profiles; limits from trials, rectangular.`,
            },
          ]
        : []),
    ];
    return quantityOf(group.readings, shared, group.drawnPx, scale, {
      method: what === 'space' ? 'space' : 'line-width',
      scales: true,
      extra,
    });
  });
}
