/** Whether what was measured keeps the drawn minimums and the nominal thicknesses of the process table. */

import type { LayerSpan } from '../../../shared/artefacts/layers.ts';
import type { LayerMeasurements, Quantity } from '../../../shared/artefacts/measurements.ts';
import type { Process } from '../../../shared/artefacts/process.ts';

type Check = LayerMeasurements['checks'][number];

/** Fabs hold thicknesses to about a tenth (common practice, no source). */
export const THICKNESS_TOLERANCE = 0.1;

const nm = (um: number): string => `${(um * 1000).toFixed(0)} nm`;

/** A minimum is kept or not only where the whole 95 % interval says so. */
function minimum(name: string, limit_um: number, q: Quantity): Check {
  const found = q.value_um;
  const margin = q.expanded_um;
  const verdict = found - margin >= limit_um ? 'kept' : found + margin < limit_um ? 'not kept' : 'open';
  const drawn =
    q.drawn_um !== null && q.drawn_um >= limit_um - 1e-6
      ? 'as drawn it keeps the rule'
      : 'as drawn it is below the rule';
  const said = {
    kept: 'The imaged size keeps the drawn minimum.',
    'not kept': `The imaged size is below the drawn minimum; ${drawn}, and a printed bias is normal: compare with the edge placement.`,
    open: 'The uncertainty spans the drawn minimum.',
  }[verdict];
  return {
    name,
    limit_um,
    drawn_um: q.drawn_um,
    found_um: found,
    expanded_um: margin,
    verdict,
    text: `${nm(found)} ± ${nm(margin)} against ${nm(limit_um)}. ${said}`,
    method: q.method,
  };
}

export function checkLayer(
  process: Process,
  span: LayerSpan,
  measured: Pick<LayerMeasurements, 'width' | 'space' | 'vias' | 'thickness'>,
): Check[] {
  const rule = process.rules?.[span.name];
  const checks: Check[] = [];
  if (rule?.width_um && measured.width) checks.push(minimum('least width', rule.width_um, measured.width));
  if (rule?.space_um && measured.space) checks.push(minimum('least space', rule.space_um, measured.space));
  // Across the middle: a rule is for the drawn side, which rounded corners do not shorten.
  const via = measured.vias[0];
  if (rule?.size_um && via)
    checks.push(minimum('least size', rule.size_um, via.x.value_um < via.y.value_um ? via.x : via.y));
  if (measured.thickness) checks.push(thicknessCheck(span, measured.thickness));
  return checks;
}

function thicknessCheck(span: LayerSpan, q: Quantity): Check {
  const nominal = span.nominal_top_um - span.nominal_bottom_um;
  const off = q.value_um - nominal;
  const room = THICKNESS_TOLERANCE * nominal;
  const verdict =
    Math.abs(off) + q.expanded_um <= room
      ? 'kept'
      : Math.abs(off) - q.expanded_um > room
        ? 'not kept'
        : 'open';
  const percent = `${off >= 0 ? '+' : '−'}${Math.abs((100 * off) / nominal).toFixed(1)} %`;
  const said = {
    kept: 'Within a tenth of the nominal thickness.',
    'not kept': 'Off by more than a tenth of the nominal thickness.',
    open: 'The uncertainty spans the limit of a tenth.',
  }[verdict];
  return {
    name: 'thickness',
    limit_um: nominal,
    drawn_um: null,
    found_um: q.value_um,
    expanded_um: q.expanded_um,
    verdict,
    text: `${nm(q.value_um)} ± ${nm(q.expanded_um)} against ${nm(nominal)} (${percent}). ${said}`,
    method: q.method,
  };
}
