/** From readings in pixels to quantities in micrometres, each with its budget. */
import type { Quantity } from '../../../shared/artefacts/measurements.ts';
import { type Contribution, combine, coverageFactor } from '../../../shared/uncertainty/budget.ts';
import { type Pooled, pool, type Reading, type SharedVariance } from './pool.ts';

/** Fewest profiles and shapes for a quantity: two readings that agree may do so by chance. */
export const LEAST_READINGS = 5;

export interface ScaleOfPixel {
  readonly pixelUm: number;
  /** Relative standard uncertainty of the pixel size. */
  readonly relative: number;
  readonly how: string;
}

/** Sensitivities and half-knowledge of one kind of reading, in pixels. */
export interface KindOfReading {
  readonly method: string;
  /** Whether a change of the pixel size changes it: lengths, not differences from the drawing. */
  readonly scales: boolean;
  readonly extra: readonly Contribution[];
}

export function quantityOf(
  readings: readonly Reading[],
  shared: SharedVariance,
  drawnPx: number | null,
  scale: ScaleOfPixel,
  kind: KindOfReading,
): Quantity {
  const pooled = pool(readings, shared);
  return finish(pooled, drawnPx, scale, kind);
}

function finish(pooled: Pooled, drawnPx: number | null, scale: ScaleOfPixel, kind: KindOfReading): Quantity {
  const px = scale.pixelUm;
  const contributions: Contribution[] = [
    {
      name: 'sampling and noise',
      kind: 'A',
      u: pooled.u * px,
      dof: pooled.dof,
      how: `Scatter of ${pooled.n} profiles within and between ${pooled.shapes} shapes.`,
    },
    ...(kind.scales
      ? [
          {
            name: 'voxel size',
            kind: 'B' as const,
            u: Math.abs(pooled.value) * px * scale.relative,
            dof: null,
            how: scale.how,
          },
        ]
      : []),
    ...kind.extra.map((c) => ({ ...c, u: c.u * px })),
  ];
  const { u, dof } = combine(contributions);
  return {
    drawn_um: drawnPx === null ? null : drawnPx * px,
    value_um: pooled.value * px,
    n: pooled.n,
    shapes: pooled.shapes,
    median_um: pooled.median * px,
    sd_um: pooled.sd * px,
    uncertainty_um: u,
    dof,
    expanded_um: coverageFactor(dof) * u,
    budget: contributions.map(({ u: um, ...rest }) => ({ ...rest, um })),
    method: kind.method,
  };
}

export interface Grouped {
  readonly drawnPx: number;
  readonly readings: readonly Reading[];
}

/** Readings by drawn size, to the nanometre. */
export function groupByDrawn(
  items: readonly { readonly drawnPx: number; readonly reading: Reading }[],
  pixelUm: number,
): Grouped[] {
  const groups = new Map<number, { drawnPx: number; readings: Reading[] }>();
  for (const { drawnPx, reading } of items) {
    const key = Math.round(drawnPx * pixelUm * 1000);
    const group = groups.get(key);
    if (group) group.readings.push(reading);
    else groups.set(key, { drawnPx, readings: [reading] });
  }
  return [...groups.values()].sort((a, b) => a.drawnPx - b.drawnPx);
}
