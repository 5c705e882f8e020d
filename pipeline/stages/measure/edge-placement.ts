/** Edge placement error: imaged edge minus drawn edge along the outward normal, and what it says of shift and bias. */
import type { LayerMeasurements } from '../../../shared/artefacts/measurements.ts';
import { rectangular } from '../../../shared/uncertainty/budget.ts';
import type { SiteYield } from './fit-site.ts';
import { haloHalfPx, shapeOf } from './measure-lines.ts';
import { type Reading, sharedVariance } from './pool.ts';
import { LEAST_READINGS, quantityOf, type ScaleOfPixel } from './quantities.ts';
import { spreadOf } from './robust.ts';
import type { Site } from './sites.ts';

interface EdgeReading {
  /** Outward normal in the die frame. */
  readonly nx: number;
  readonly ny: number;
  readonly errorPx: number;
  readonly shape: string;
  readonly plugged: boolean;
}

/** Via layers below and above: contrast over that of this layer, and whether they stand near the edges of a site. */
export interface Plugs {
  readonly contrast: number;
  readonly near: (site: Site) => boolean;
}

/** Half-width of what the model leaves on one edge, pixels. */
const MODEL_HALF_PX = 0.015;

function edgeReadings(
  yields: readonly SiteYield[],
  sign: number,
  pixelUm: number,
  near: Plugs['near'],
): EdgeReading[] {
  return yields.flatMap(({ site, line, edge }) => {
    const plugged = near(site);
    const [ux, uy] = site.direction;
    const [from, to] = site.drawnPx[site.own]!;
    const shape = shapeOf(site, pixelUm);
    const before = (at: number): EdgeReading => ({
      nx: -ux,
      ny: -uy,
      errorPx: from - at,
      shape: `${shape} a`,
      plugged,
    });
    if (line) {
      if (line.contrast * sign <= 0) return [];
      const after = { nx: ux, ny: uy, errorPx: line.rightPx - to, shape: `${shape} b`, plugged };
      return [before(line.leftPx), after];
    }
    return edge && edge.rise * sign > 0 ? [before(edge.atPx)] : [];
  });
}

interface Pair {
  readonly axis: 'x' | 'y';
  readonly plus: Reading[];
  readonly minus: Reading[];
}

/** Opposite sides, both with readings enough. */
function pairsOf(edges: readonly EdgeReading[]): Pair[] {
  const facing = (axis: 'nx' | 'ny', way: number): Reading[] =>
    edges.filter((e) => e[axis] * way > 0.99).map((e) => ({ shape: e.shape, value: e.errorPx }));
  return [
    { axis: 'x' as const, plus: facing('nx', 1), minus: facing('nx', -1) },
    { axis: 'y' as const, plus: facing('ny', 1), minus: facing('ny', -1) },
  ].filter(({ plus, minus }) => plus.length >= LEAST_READINGS && minus.length >= LEAST_READINGS);
}

/** Shifts that may not be told from one another are left out: a layer of lines in one direction shows one shift. */
export function edgePlacement(
  yields: readonly SiteYield[],
  sign: number,
  scale: ScaleOfPixel,
  placementUm: { readonly x: number; readonly y: number } | null,
  plugs: Plugs,
): LayerMeasurements['edges'] {
  const all = edgeReadings(yields, sign, scale.pixelUm, plugs.near);
  // Where the edges without a via near show as many sides as all of them do, only those speak.
  const clear = all.filter((edge) => !edge.plugged);
  const edges = pairsOf(clear).length === pairsOf(all).length ? clear : all;
  const pairs = pairsOf(edges);
  if (pairs.length === 0) return null;
  const plugged = edges.filter((edge) => edge.plugged).length / edges.length;
  const { n, median, sd } = spreadOf(edges.map((e) => e.errorPx));
  const px = scale.pixelUm;
  const model = {
    name: 'edge threshold',
    kind: 'B' as const,
    u: rectangular(MODEL_HALF_PX),
    dof: null,
    how: 'Half height between plateaus of second order; limits from noise-free trials, rectangular.',
  };
  const shared = sharedVariance(
    pairs.flatMap(({ plus, minus }) => [plus, minus]),
    sd * sd,
  );
  const kind = { method: 'edge-placement', scales: false };
  const side = (readings: readonly Reading[]) =>
    quantityOf(readings, shared, null, scale, { ...kind, extra: [] });
  const combined = (parts: readonly { readonly readings: readonly Reading[]; readonly weight: number }[]) => {
    const quantities = parts.map(({ readings, weight }) => ({ q: side(readings), weight }));
    const value = quantities.reduce((s, { q, weight }) => s + weight * q.value_um, 0);
    const u = Math.sqrt(quantities.reduce((s, { q, weight }) => s + (weight * q.uncertainty_um) ** 2, 0));
    return {
      value,
      u,
      n: parts.reduce((s, p) => s + p.readings.length, 0),
      shapes: quantities.reduce((s, { q }) => s + q.shapes, 0),
    };
  };
  const asQuantity = (
    part: ReturnType<typeof combined>,
    extra: readonly { name: string; kind: 'A' | 'B'; um: number; dof: number | null; how: string }[],
  ) => {
    const budget = [
      {
        ...{ name: 'sampling and noise', kind: 'A' as const, um: part.u, dof: shared.dof },
        how: `Scatter of ${part.n} edges on ${part.shapes} shapes.`,
      },
      ...extra,
    ];
    const u = Math.sqrt(budget.reduce((s, c) => s + c.um ** 2, 0));
    return {
      ...{ drawn_um: 0, value_um: part.value, n: part.n, shapes: part.shapes, median_um: part.value },
      ...{ sd_um: sd * px, uncertainty_um: u, dof: null, expanded_um: 1.959963984540054 * u, budget },
      method: 'edge-placement',
    };
  };
  const threshold = { ...model, um: model.u * px };
  const { u: _, ...thresholdUm } = threshold;
  // Each axis weighs by what is known of it: a few line ends must not count as much as hundreds of long edges.
  const axes = pairs.map(({ plus, minus }) => {
    const halves = [
      { readings: plus, weight: 0.5 },
      { readings: minus, weight: 0.5 },
    ];
    return { halves, certainty: 1 / combined(halves).u ** 2 };
  });
  const certainty = axes.reduce((sum, axis) => sum + axis.certainty, 0);
  const outward = asQuantity(
    combined(
      axes.flatMap((axis) =>
        axis.halves.map((half) => ({ ...half, weight: (half.weight * axis.certainty) / certainty })),
      ),
    ),
    [
      thresholdUm,
      {
        ...{
          name: 'halos of vias',
          kind: 'B' as const,
          um: rectangular((plugged * haloHalfPx(plugs.contrast)) / 2) * px,
        },
        ...{
          dof: null,
          how: 'The missing cone smears vias into the plates of this layer; limits from trials, rectangular.',
        },
      },
    ],
  );
  const shift = (axis: 'x' | 'y') => {
    const pair = pairs.find((p) => p.axis === axis);
    if (!pair) return null;
    const part = combined([
      { readings: pair.plus, weight: 0.5 },
      { readings: pair.minus, weight: -0.5 },
    ]);
    return asQuantity(part, [
      {
        ...{ name: 'placement', kind: 'B' as const, um: placementUm?.[axis] ?? 0, dof: null },
        how: 'Standard uncertainty of the placement along this axis at the height of this layer.',
      },
    ]);
  };
  return {
    ...{ n, median_um: median * px, sd_um: sd * px, outward },
    ...{ shift_x: shift('x'), shift_y: shift('y'), method: 'edge-placement' },
  };
}
