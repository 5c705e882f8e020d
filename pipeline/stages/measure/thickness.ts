/** Thickness of a layer from the heights of its faces as the place stage measured them. */
import type { LayerSpan, Layers } from '../../../shared/artefacts/layers.ts';
import type { Quantity } from '../../../shared/artefacts/measurements.ts';
import { NORMAL_95 } from '../../../shared/uncertainty/budget.ts';

/**
 * @param relativeZ relative standard uncertainty of the vertical scale
 * @returns null where the heights are those of the process table, or the scan ends inside the layer:
 * nothing was measured
 */
export function thicknessOf(
  basis: Layers['basis'],
  span: LayerSpan,
  stepUm: number,
  relativeZ: number,
): Quantity | null {
  if (basis !== 'measured' || span.seen !== 'whole') return null;
  const value = span.top_um - span.bottom_um;
  const budget: Quantity['budget'] = [
    {
      ...{
        name: 'height of the faces',
        kind: 'A',
        um: Math.SQRT2 * (span.in_scan_sd_um ?? span.sd_um),
        dof: null,
      },
      how: 'Standard deviation of one face in the scan as stated with the heights; the two faces taken as independent.',
    },
    {
      ...{ name: 'voxel size', kind: 'B', um: value * relativeZ, dof: null },
      how: `Relative uncertainty of the vertical scale, ${(100 * relativeZ).toFixed(2)} %: all thicknesses of the scan share it.`,
    },
    {
      ...{ name: 'sampling', kind: 'B', um: stepUm / Math.sqrt(12) / 5, dof: null },
      how: 'A fifth of the distance of plates, rectangular: heights are interpolated between plates.',
    },
  ];
  const u = Math.sqrt(budget.reduce((s, c) => s + c.um ** 2, 0));
  return {
    ...{ drawn_um: span.nominal_top_um - span.nominal_bottom_um, value_um: value, n: 1, shapes: 1 },
    ...{ median_um: value, sd_um: 0, uncertainty_um: u, dof: null, expanded_um: NORMAL_95 * u, budget },
    method: 'thickness',
  };
}
