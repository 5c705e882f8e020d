/** Edge spread in depth: how fast the contrast of a layer's lines comes and goes from plate to plate. */
import type { Measurements } from '../../../shared/artefacts/measurements.ts';
import { type PlateGrid, pixelFromDie } from '../../../shared/frames.ts';
import { meanProfile } from '../../../shared/profile/band.ts';
import { measureLine } from '../../../shared/profile/line.ts';
import { normalCdf, TEN_TO_NINETY } from '../../../shared/profile/normal.ts';
import { cubic } from '../../../shared/profile/sampler.ts';
import type { LayerInput } from './layer-input.ts';
import type { ScanBlock } from './scan-block.ts';
import { isLine, type Site, siteBand } from './sites.ts';

export interface DepthSpread {
  readonly curve: NonNullable<Measurements['depth_spread']>;
  /** 10 to 90 %, micrometres, and its standard uncertainty from four groups of lines. */
  readonly um: number;
  readonly uncertaintyUm: number;
  /** Median width of the lines it was seen on: the missing cone makes depth a matter of width. */
  readonly lineUm: number;
}

const MOST_LINES = 80;
const GROUPS = 4;
const LINES_PX = 5;

export function depthSpread(
  input: LayerInput,
  block: ScanBlock,
  stepUm: number,
  blurPx: number,
  sign: number,
): DepthSpread | null {
  const { grid } = block;
  const lines = input.sites.filter((site) => isLine(site) && onlyShape(site, blurPx) && lies(site, grid));
  lines.sort((a, b) => widthPx(a) - widthPx(b));
  const chosen = lines.slice(0, MOST_LINES);
  if (chosen.length < 2 * GROUPS) return null;
  const samplers = block.plates.map((values) =>
    cubic({ values, width: grid.width_px, height: grid.height_px }),
  );
  const curves = chosen.flatMap((site) => {
    const curve = samplers.map((sample) => contrastOf(siteBand(sample, grid, site, LINES_PX), site, blurPx));
    return curve.every((v) => v !== null) ? [curve as number[]] : [];
  });
  if (curves.length < 2 * GROUPS) return null;
  const nominal = { bottom: input.span.bottom_um, top: input.span.top_um };
  const all = fitCurve(meanCurve(curves), block.zUm, stepUm, nominal, sign);
  const parts = Array.from({ length: GROUPS }, (_, g) =>
    fitCurve(meanCurve(curves.filter((_, n) => n % GROUPS === g)), block.zUm, stepUm, nominal, sign),
  ).flatMap((fit) => (fit ? [fit.sdUm] : []));
  if (!all || parts.length < GROUPS) return null;
  const mean = parts.reduce((a, b) => a + b, 0) / GROUPS;
  const sd = Math.sqrt(parts.reduce((s, v) => s + (v - mean) ** 2, 0) / (GROUPS - 1));
  return {
    curve: { layer: input.layer.name, z_um: [...block.zUm], contrast: all.curve, model: all.model },
    um: TEN_TO_NINETY * all.sdUm,
    uncertaintyUm: (TEN_TO_NINETY * sd) / Math.sqrt(GROUPS),
    lineUm: widthPx(chosen[chosen.length >> 1]!) * grid.pixel_um,
  };
}

/** Whether a whole path lies on a grid. */
function lies(site: Site, grid: PlateGrid): boolean {
  return [0, site.lengthPx * grid.pixel_um].every((along) => {
    const [x, y] = site.direction.map((u, n) => site.startUm[n]! + u * along) as [number, number];
    const [c, r] = pixelFromDie(grid, x, y);
    return c > 4 && r > 4 && c < grid.width_px - 5 && r < grid.height_px - 5;
  });
}

const widthPx = (site: Site): number => site.drawnPx[site.own]![1] - site.drawnPx[site.own]![0];

/** Clear ground on both sides to hold the line's grey against. */
function onlyShape(site: Site, blurPx: number): boolean {
  const { drawnPx, own, lengthPx } = site;
  const before = own > 0 ? drawnPx[own]![0] - drawnPx[own - 1]![1] : drawnPx[own]![0];
  const after =
    own + 1 < drawnPx.length ? drawnPx[own + 1]![0] - drawnPx[own]![1] : lengthPx - drawnPx[own]![1];
  return before > 5 * blurPx && after > 5 * blurPx && widthPx(site) > 3 * blurPx;
}

/** Grey inside the drawn line minus grey beside it. */
function contrastOf(band: ReturnType<typeof siteBand>, site: Site, blurPx: number): number | null {
  const profile = meanProfile(band);
  if (!profile) return null;
  const [from, to] = site.drawnPx[site.own]!;
  let [inside, insideCount, beside, besideCount] = [0, 0, 0, 0];
  for (let n = 0; n < profile.values.length; n++) {
    const at = n * profile.stepPx;
    if (at > from + blurPx && at < to - blurPx) {
      inside += profile.values[n]!;
      insideCount++;
    } else if ((at < from - blurPx && at > from - 4 * blurPx) || (at > to + blurPx && at < to + 4 * blurPx)) {
      beside += profile.values[n]!;
      besideCount++;
    }
  }
  return insideCount > 0 && besideCount > 0 ? inside / insideCount - beside / besideCount : null;
}

function meanCurve(curves: readonly (readonly number[])[]): number[] {
  return curves[0]!.map((_, n) => curves.reduce((sum, c) => sum + c[n]!, 0) / curves.length);
}

/** The lower and the upper face as two edges of one blurred step up and down. */
function fitCurve(
  contrast: readonly number[],
  zUm: readonly number[],
  stepUm: number,
  nominal: { readonly bottom: number; readonly top: number },
  sign: number,
): { sdUm: number; curve: number[]; model: number[] } | null {
  const base = zUm[0]!;
  const profile = { stepPx: 1, values: Float64Array.from(contrast), lines: 1, lineStepPx: 1 };
  const fit = measureLine(profile, {
    leftPx: (nominal.bottom - base) / stepUm,
    rightPx: (nominal.top - base) / stepUm,
    noise: { sd: Math.abs(Math.max(...contrast) - Math.min(...contrast)) / 50, correlation: 0.5 },
    leastInBlurs: 0,
  });
  if (fit.kind === 'refused' || fit.contrast * sign <= 0 || fit.misfit > 0.2) return null;
  // For the plot, level and height that bring curve and model together.
  const outside = contrast.filter(
    (_, n) => n < fit.leftPx - 2 * fit.blurPx || n > fit.rightPx + 2 * fit.blurPx,
  );
  const level = outside.length > 0 ? outside.reduce((x, y) => x + y, 0) / outside.length : 0;
  const model = contrast.map(
    (_, n) => normalCdf((n - fit.leftPx) / fit.blurPx) - normalCdf((n - fit.rightPx) / fit.blurPx),
  );
  const height =
    contrast.reduce((sum, v, n) => sum + (v - level) * model[n]!, 0) /
    model.reduce((sum, m) => sum + m * m, 0);
  return { sdUm: fit.blurPx * stepUm, curve: contrast.map((v) => (v - level) / height), model };
}
