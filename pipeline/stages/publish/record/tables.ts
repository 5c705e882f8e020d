/** Findings, layers and nets of a scan as tables, for those who work with spreadsheets. */
import type { Findings } from '../../../../shared/artefacts/findings.ts';
import { findingCells, findingColumns } from '../../../../shared/artefacts/findings-table.ts';
import type { Layers } from '../../../../shared/artefacts/layers.ts';
import type { Nets } from '../../../../shared/artefacts/nets.ts';
import { csvText } from '../../../../shared/csv.ts';

export const layersTable = ({ layers }: Layers): string =>
  csvText(
    [
      'name',
      'role',
      'bottom_um',
      'top_um',
      'sd_um',
      'nominal_bottom_um',
      'nominal_top_um',
      'confidence',
      'seen',
    ],
    layers.map((l) => [
      ...[l.name, l.role, l.bottom_um, l.top_um, l.sd_um],
      ...[l.nominal_bottom_um ?? '', l.nominal_top_um ?? '', l.confidence, l.seen],
    ]),
  );

export const findingsTable = ({ findings }: Findings): string =>
  csvText(findingColumns, findings.map(findingCells));

export const netsTable = ({ nets }: Nets): string =>
  csvText(
    ['id', 'name', 'layers', 'x0_um', 'y0_um', 'x1_um', 'y1_um', 'length_um', 'vias', 'leaves_field'],
    nets.map((n) => [
      ...[n.id, n.name, n.layers.join(' '), ...n.box_um, n.length_um, n.vias, n.leaves_field ? 'yes' : 'no'],
    ]),
  );
