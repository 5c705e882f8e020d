/** The quantities of measurements.json as one table. */
import type { Measurements, Quantity } from '../../../shared/artefacts/measurements.ts';

const HEAD =
  'layer,what,drawn_um,value_um,expanded_95_um,standard_uncertainty_um,degrees_of_freedom,profiles,shapes,median_um,sd_um,method';

export function measurementsCsv(measured: Measurements): string {
  const rows = [HEAD];
  const add = (layer: string, what: string, q: Quantity | null) => {
    if (!q) return;
    const number = (v: number | null) => (v === null ? '' : Number(v.toPrecision(6)).toString());
    rows.push(
      [
        ...[
          layer,
          what,
          number(q.drawn_um),
          number(q.value_um),
          number(q.expanded_um),
          number(q.uncertainty_um),
        ],
        ...[number(q.dof), q.n, q.shapes, number(q.median_um), number(q.sd_um), q.method],
      ].join(','),
    );
  };
  for (const layer of measured.layers) {
    for (const q of layer.widths) add(layer.name, 'line width', q);
    for (const q of layer.spaces) add(layer.name, 'space', q);
    for (const q of layer.pitches) add(layer.name, 'pitch', q);
    for (const via of layer.vias) {
      add(layer.name, 'via size x', via.x);
      add(layer.name, 'via size y', via.y);
      add(layer.name, 'via size by area', via.side);
    }
    add(layer.name, 'thickness', layer.thickness);
    add(layer.name, 'edge placement outward', layer.edges?.outward ?? null);
    add(layer.name, 'layer shift x', layer.edges?.shift_x ?? null);
    add(layer.name, 'layer shift y', layer.edges?.shift_y ?? null);
  }
  return `${rows.join('\n')}\n`;
}
