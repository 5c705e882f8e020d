/** Line-edge and line-width roughness of a layer, over one stated length, with the noise taken out. */
import type { Roughness } from '../../../shared/artefacts/measurements.ts';
import type { PlateGrid } from '../../../shared/frames.ts';
import { meanProfile } from '../../../shared/profile/band.ts';
import { type EdgeFit, fitEdge } from '../../../shared/profile/edge.ts';
import { edgeDepartures, type RoughnessSample, roughnessSample } from '../../../shared/profile/roughness.ts';
import { ofMean } from '../../../shared/uncertainty/budget.ts';
import { CLEAR, type LayerOptics, shiftAlong } from './fit-site.ts';
import type { LayerInput } from './layer-input.ts';
import { nearMedian } from './robust.ts';
import { chooseSites, isLine, type Site, siteBand } from './sites.ts';

/** Scan lines of one stretch: its length in pixels. */
const LENGTH_PX = 32;
const MOST_STRETCHES = 150;
const LEAST_STRETCHES = 5;
/** Relative standard uncertainty of the noise taken out: the two-number noise model is that good. */
const NOISE_KNOWN_TO = 0.1;
/** One-sided 95 % point of the normal distribution. */
const ONE_SIDED = 1.6448536269514722;

export interface LayerRoughness {
  readonly edge: Roughness | null;
  readonly width: Roughness | null;
}

export function layerRoughness(
  input: LayerInput,
  optics: LayerOptics,
  grid: PlateGrid,
  seed: number,
): LayerRoughness {
  const sites = chooseSites(input.shapes, grid, {
    ...{
      reachPx: 40,
      linesPx: LENGTH_PX,
      marginPx: 2.5,
      most: MOST_STRETCHES,
      mostPerWidth: MOST_STRETCHES,
      seed,
    },
    hasData: () => true,
  });
  const edges: RoughnessSample[] = [];
  const widths: RoughnessSample[] = [];
  for (const site of sites) {
    const band = siteBand(input.sample, grid, site, LENGTH_PX);
    const profile = band.lines === LENGTH_PX ? meanProfile(band) : null;
    if (!profile) continue;
    const [own, other] = edgesOf(site);
    const fits = [own, other].map((edge) => edge && fitAt(profile, site, edge, optics));
    const departures = fits.map((fit) => fit && edgeDepartures(band, fit));
    fits.forEach((fit, n) => {
      const sample =
        fit && roughnessSample(departures[n]!, [fit.response], optics.noise, band.stepPx, band.lineStepPx);
      if (sample) edges.push(sample);
    });
    if (fits[0] && fits[1]) {
      const difference = departures[1]!.map((d, n) => d - departures[0]![n]!);
      const responses = [fits[0].response, fits[1].response];
      const sample = roughnessSample(difference, responses, optics.noise, band.stepPx, band.lineStepPx);
      if (sample) widths.push(sample);
    }
  }
  return {
    edge: summarise(edges, grid.pixel_um, 'line-edge-roughness'),
    width: summarise(widths, grid.pixel_um, 'line-width-roughness'),
  };
}

interface SiteEdge {
  readonly at: number;
  readonly reach: number;
}

/** Both edges of a line, or the one edge that is on the path, each with the room it has. */
function edgesOf(site: Site): [SiteEdge, SiteEdge | null] {
  const { drawnPx, own, lengthPx } = site;
  const [from, to] = drawnPx[own]!;
  const before = own > 0 ? from - drawnPx[own - 1]![1] : from;
  const after = own + 1 < drawnPx.length ? drawnPx[own + 1]![0] - to : lengthPx - to;
  return [
    { at: from, reach: Math.min(before, to - from) },
    isLine(site) ? { at: to, reach: Math.min(after, to - from) } : null,
  ];
}

function fitAt(
  profile: NonNullable<ReturnType<typeof meanProfile>>,
  site: Site,
  edge: SiteEdge,
  optics: LayerOptics,
): EdgeFit | null {
  const at = edge.at + shiftAlong(site, optics.shiftPx);
  const sd = optics.blur.sdPx;
  const reach = Math.min(edge.reach - CLEAR * sd, 6 * sd);
  if (reach < 2 * sd) return null;
  const first = Math.ceil((at - reach) / profile.stepPx);
  const last = Math.floor((at + reach) / profile.stepPx);
  if (first < 0 || last >= profile.values.length) return null;
  const fit = fitEdge(profile, { first, last, nearPx: at, blur: optics.blur, noise: optics.noise });
  return fit.kind === 'edge' ? fit : null;
}

function summarise(samples: readonly RoughnessSample[], pixelUm: number, method: string): Roughness | null {
  const near = nearMedian(samples.map((s) => s.seen));
  const kept = samples.filter((_, n) => near[n]);
  if (kept.length < LEAST_STRETCHES) return null;
  const n = kept.length;
  const mean = (of: (s: RoughnessSample) => number) => kept.reduce((sum, s) => sum + of(s), 0) / n;
  const seen = mean((s) => s.seen);
  const noise = mean((s) => s.noise);
  const scatter = Math.sqrt(kept.reduce((sum, s) => sum + (s.seen - seen) ** 2, 0) / (n - 1));
  const u = Math.hypot(ofMean(scatter, n), NOISE_KNOWN_TO * noise);
  const variance = seen - noise;
  const three = (v: number) => 3 * Math.sqrt(Math.max(0, v)) * pixelUm;
  return {
    three_sigma_um: three(variance),
    at_most_um: three(Math.max(0, variance) + ONE_SIDED * u),
    resolved: variance > ONE_SIDED * u,
    as_seen_um: three(seen),
    length_um: LENGTH_PX * pixelUm,
    step_um: pixelUm,
    n,
    method,
  };
}
