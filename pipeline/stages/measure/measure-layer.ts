/** Everything that is measured on one layer. */
import type { Layers } from '../../../shared/artefacts/layers.ts';
import type { LayerMeasurements } from '../../../shared/artefacts/measurements.ts';
import type { Process } from '../../../shared/artefacts/process.ts';
import type { PlateGrid } from '../../../shared/frames.ts';
import { checkLayer } from './checks.ts';
import type { DrawnShapes } from './drawn-shapes.ts';
import { edgePlacement } from './edge-placement.ts';
import { fitSite, type LayerOptics, type SiteYield } from './fit-site.ts';
import { type LayerInput, PROFILE_LINES } from './layer-input.ts';
import { type BlurFinding, type LayerLook, LEAST_SITES, lookAtLayer } from './layer-optics.ts';
import { layerRoughness } from './layer-roughness.ts';
import { measureLines } from './measure-lines.ts';
import { measureVias } from './measure-vias.ts';
import { LEAST_READINGS, type ScaleOfPixel } from './quantities.ts';
import { spreadOf } from './robust.ts';
import { isLine, type Site } from './sites.ts';
import { thicknessOf } from './thickness.ts';

export interface LayerContext {
  readonly grid: PlateGrid;
  readonly scale: ScaleOfPixel;
  /** Relative standard uncertainty of lengths in depth. */
  readonly relativeDepth: number;
  readonly process: Process;
  readonly basis: Layers['basis'];
  readonly stepUm: number;
  readonly blur: BlurFinding;
  readonly blurFrom: string;
  readonly neighbours: readonly DrawnShapes[];
  /** Standard uncertainty of the placement at the height of the layer. */
  readonly placementUm: { readonly x: number; readonly y: number } | null;
  /** The via layers next to this one: what is drawn, and their contrast without its sign, null where it was not told. */
  readonly plugs: readonly { readonly shapes: DrawnShapes; readonly contrast: number | null }[];
  readonly seed: number;
}

export interface MeasuredLayer {
  readonly input: LayerInput;
  readonly result: LayerMeasurements;
  readonly optics: LayerOptics | null;
  readonly yields: readonly SiteYield[];
  readonly blur: BlurFinding | null;
  readonly contrast: { readonly contrast: number; readonly uncertainty: number } | null;
}

/** Beyond this a layer is fainter than what shines through it, and widths say little anyway. */
const MOST_PLUG_CONTRAST = 10;
/** Share of tried edges that must stand out for a layer to count as seen. */
const SEEN_SHARE = 0.5;

/** A layer of which nothing can be measured in the plane. */
export function bareLayer(
  input: LayerInput,
  basis: Layers['basis'],
  stepUm: number,
  relativeDepth: number,
  process: Process,
): MeasuredLayer {
  const thickness = thicknessOf(basis, input.span, stepUm, relativeDepth);
  const result: LayerMeasurements = {
    ...{
      name: input.layer.name,
      role: input.layer.role,
      width: null,
      space: null,
      pitch: null,
      via_size: null,
    },
    ...{ thickness, widths: [], spaces: [], pitches: [], vias: [], edges: null, image: null, refused: [] },
    ...{ line_edge_roughness: null, line_width_roughness: null, checks: [] },
  };
  result.checks = checkLayer(process, input.span, result);
  return { input, result, optics: null, yields: [], blur: null, contrast: null };
}

export function measureLayer(input: LayerInput, context: LayerContext): MeasuredLayer {
  const bare = bareLayer(input, context.basis, context.stepUm, context.relativeDepth, context.process);
  const measured =
    input.layer.role === 'via' ? withVias(input, context, bare) : withLines(input, context, bare);
  const { result } = measured;
  return { ...measured, result: { ...result, checks: checkLayer(context.process, input.span, result) } };
}

function withVias(input: LayerInput, context: LayerContext, bare: MeasuredLayer): MeasuredLayer {
  const { grid, scale, blur } = context;
  const found = measureVias(input, grid, blur, scale, context.seed);
  return {
    ...bare,
    result: {
      ...bare.result,
      vias: found.vias,
      via_size: found.vias[0]?.side ?? null,
      refused: found.refused,
      image: found.contrast !== null && found.noise ? imageFacts(found.contrast, found.noise, context) : null,
    },
    contrast: found.contrast === null ? null : { contrast: found.contrast, uncertainty: found.contrastU },
  };
}

function withLines(input: LayerInput, context: LayerContext, bare: MeasuredLayer): MeasuredLayer {
  const { grid, scale, blur } = context;
  const refuse = (reason: string): MeasuredLayer => ({
    ...bare,
    result: {
      ...bare.result,
      refused: [{ what: 'all sizes', drawn_um: null, tried: input.sites.length, reason }],
    },
  });
  if (input.shapes.polygons.length === 0) return bare;
  if (input.sites.length < LEAST_SITES || !input.noise)
    return refuse('too few straight drawn edges stand alone with image data all round');
  const look = lookAtLayer(input.sites, input.profiles, input.noise, blur);
  if (look.seen < Math.max(LEAST_SITES, SEEN_SHARE * look.tried))
    return refuse(
      `its edges do not stand out from the noise: seen in ${look.seen} of ${look.tried} profiles`,
    );
  const optics: LayerOptics = { blur, noise: input.noise, shiftPx: look.shiftPx };
  const sign = Math.sign(look.contrast);
  const plugContrast = strongestPlug(context, Math.abs(look.contrast));
  const all = input.sites.map((site, n) => fitSite(input.profiles[n]!, site, optics));
  const hidden = new Set(plugContrast > HIDES ? all.filter(({ site }) => hasVia(site, context, 0)) : []);
  const yields = all.filter((one) => !hidden.has(one));
  const plugged = (site: Site) => hasVia(site, context, HALO * blur.sdPx);
  const lines = measureLines(yields, {
    ...{ scale, sign, blurPx: blur.sdPx, plugContrast, plugged },
    overlaid: (site) => runsAlong(site, context),
  });
  const covered = hiddenSizes([...hidden], yields, scale.pixelUm, plugContrast);
  const rough = layerRoughness(input, optics, grid, context.seed);
  return {
    ...bare,
    ...{ optics, yields, blur },
    result: {
      ...bare.result,
      width: lines.widths[0] ?? null,
      space: lines.spaces[0] ?? null,
      pitch: lines.pitches[0] ?? null,
      ...{
        widths: lines.widths,
        spaces: lines.spaces,
        pitches: lines.pitches,
        refused: [...lines.refused, ...covered],
      },
      edges: edgePlacement(yields, sign, scale, context.placementUm, {
        contrast: plugContrast,
        near: plugged,
      }),
      line_edge_roughness: rough.edge,
      line_width_roughness: rough.width,
      image: imageFacts(look.contrast, input.noise, context),
    },
    contrast: contrastOf(yields, sign, look),
  };
}

function imageFacts(
  contrast: number,
  noise: { readonly sd: number; readonly correlation: number },
  { blur, scale, blurFrom }: LayerContext,
): LayerMeasurements['image'] {
  return {
    ...{ contrast, noise: noise.sd, noise_correlation: noise.correlation },
    blur_um: blur.sdPx * scale.pixelUm,
    blur_sd_um: blur.uncertaintyPx * scale.pixelUm,
    blur_from: blurFrom,
  };
}

function contrastOf(yields: readonly SiteYield[], sign: number, look: LayerLook): MeasuredLayer['contrast'] {
  const values = yields
    .map((y) => y.line?.contrast ?? y.edge?.rise ?? Number.NaN)
    .filter((v) => v * sign > 0);
  if (values.length === 0) return { contrast: look.contrast, uncertainty: Math.abs(look.contrast) };
  const { median, sd, n } = spreadOf(values);
  return { contrast: median, uncertainty: (1.2533 * sd) / Math.sqrt(n) };
}

/** Reach of the blur within which a parallel edge of another layer counts, in standard deviations. */
const ALONG = 5;

/** Whether an edge of a neighbouring layer lies close to an edge of the site and runs along it. */
function runsAlong(site: Site, { neighbours, grid, blur }: LayerContext): boolean {
  const px = grid.pixel_um;
  const [ux, uy] = site.direction;
  const own = site.drawnPx[site.own]!;
  const edges = isLine(site) ? [own[0], own[1]] : [own[0]];
  return neighbours.some((shapes) =>
    [-3, 3].every((across) => {
      const x = site.startUm[0] - uy * across * px;
      const y = site.startUm[1] + ux * across * px;
      return shapes
        .along(x, y, ux, uy, site.lengthPx * px)
        .flat()
        .some((at) => edges.some((edge) => Math.abs(at / px - edge) < ALONG * blur.sdPx));
    }),
  );
}

/** Reach of the halo of a via, in standard deviations of the blur beyond the via itself. */
const HALO = 6;
/** Vias so many times as strong as a layer hide its edges where they stand on them: what is seen there is the via. */
const HIDES = 2;

/** Contrast of the strongest via layer next to this one over its own; one that could not be told may be any. */
function strongestPlug({ plugs }: LayerContext, own: number): number {
  const drawn = plugs.filter(({ shapes }) => shapes.polygons.length > 0);
  const ratios = drawn.map(({ contrast }) => (contrast === null ? MOST_PLUG_CONTRAST : contrast / own));
  return Math.min(MOST_PLUG_CONTRAST, Math.max(0, ...ratios));
}

/** Whether a via of the layer below or above stands within reach of the edges that a site measures. */
function hasVia(site: Site, { plugs, grid }: LayerContext, reachPx: number): boolean {
  const px = grid.pixel_um;
  const [ux, uy] = site.direction;
  const [from, to] = site.drawnPx[site.own]!;
  // The space after a line, too, has its edges on this path.
  const last = site.drawnPx[site.own + 1]?.[0] ?? to;
  const [near, far] = [from - reachPx, (isLine(site) ? last : from) + reachPx];
  const across = PROFILE_LINES / 2 + reachPx;
  const corners = [near, far].flatMap((a) =>
    [-across, across].map((b) => [
      site.startUm[0] + (ux * a - uy * b) * px,
      site.startUm[1] + (uy * a + ux * b) * px,
    ]),
  );
  const [xs, ys] = [corners.map((c) => c[0]!), corners.map((c) => c[1]!)];
  const box = [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)] as const;
  return plugs.some(({ shapes }) => shapes.near(...box).length > 0);
}

/** Drawn widths and spaces of which every profile has a via on it. */
function hiddenSizes(
  hidden: readonly SiteYield[],
  seen: readonly SiteYield[],
  pixelUm: number,
  plugContrast: number,
): LayerMeasurements['refused'] {
  const sizes = [
    { what: 'line width', of: (one: SiteYield) => one.drawnWidthPx },
    { what: 'space', of: (one: SiteYield) => one.drawnSpacePx },
  ];
  return sizes.flatMap(({ what, of }) => {
    const nmOf = (one: SiteYield): number => Math.round(of(one) * pixelUm * 1000);
    const left = new Set(seen.map(nmOf));
    const lost = new Map<number, number>();
    for (const one of hidden)
      if (Number.isFinite(of(one)) && !left.has(nmOf(one)))
        lost.set(nmOf(one), (lost.get(nmOf(one)) ?? 0) + 1);
    const told = [...lost].filter(([, tried]) => tried >= LEAST_READINGS);
    return told.map(([nm, tried]) => ({
      ...{ what, drawn_um: nm / 1000, tried },
      reason: `vias of the next layer, up to ${plugContrast.toFixed(1)} times as strong, stand on all of its profiles: what is seen there is the vias`,
    }));
  });
}
