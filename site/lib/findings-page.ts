/** Small sentences and names of the findings page. */
import type { Findings } from '../../shared/artefacts/findings.ts';
import type { Folio } from '../../shared/artefacts/folio.ts';
import { formatCount, formatFixed, formatLength } from './numbers.ts';

type Fill = Findings['fill'][number];

/** "metal1: 214 squares of 600 nm, 1.20 µm apart, between X 1.00 and 9.00, Y 2.00 and 8.00 µm." */
export function fillSentence(fill: Fill): string {
  const [width, height] = fill.size_um;
  const square = Math.abs(width - height) < 0.02 * Math.max(width, height);
  const shape = square
    ? `squares of ${formatLength(width, 2)}`
    : `rectangles of ${formatLength(width, 2)} by ${formatLength(height, 2)}`;
  const [px, py] = fill.pitch_um;
  const pitch =
    px > 0 && py > 0
      ? Math.abs(px - py) < 0.02 * Math.max(px, py)
        ? `, repeating every ${formatLength(px, 3)}`
        : `, repeating every ${formatLength(px, 3)} along X and ${formatLength(py, 3)} along Y`
      : '';
  const [x0, y0, x1, y1] = fill.box_um;
  const range = (low: number, high: number): string => `${formatFixed(low, 1)} to ${formatFixed(high, 1)}`;
  return `${fill.layer}: ${formatCount(fill.count)} ${shape}${pitch}, within X ${range(x0, x1)} and Y ${range(y0, y1)}\u00a0µm.`;
}

/** "metal1: edges stand 12 nm outside the drawn ones; the layer lies 4 nm to the right and 3 nm down". */
export function biasSentence(bias: Findings['bias'][number]): string {
  const sure = (sd: number | null): string => (sd === null ? '' : ` (± ${formatLength(sd, 2)})`);
  const { widening_um: wide, shift_um: shift } = bias;
  const edges =
    wide === 0
      ? 'edges stand where they are drawn'
      : `edges stand ${formatLength(Math.abs(wide), 2)} ${wide > 0 ? 'outside' : 'inside'} the drawn ones`;
  const along = [
    ...(shift[0] === 0
      ? []
      : [`${formatLength(Math.abs(shift[0]), 2)} to the ${shift[0] > 0 ? 'right' : 'left'}`]),
    ...(shift[1] === 0 ? [] : [`${formatLength(Math.abs(shift[1]), 2)} ${shift[1] > 0 ? 'up' : 'down'}`]),
  ];
  const lies = along.length === 0 ? 'the layer is not shifted' : `the layer lies ${along.join(' and ')}`;
  return `${bias.layer}: ${edges}${sure(bias.widening_sd_um)}; ${lies}${sure(bias.shift_sd_um && Math.hypot(...bias.shift_sd_um))}.`;
}

/** Under this name a browser keeps what its reader decided; two folios of one server must not share it. */
const folioName = (folio: Folio): string =>
  `${folio.chip.name} / ${folio.title}${folio.identifier ? ` / ${folio.identifier}` : ''}`;

export const folioKey = (folio: Folio): string => `stratafolio reviews: ${folioName(folio)}`;

/** Under which a browser keeps the readings of one scan. */
export const readingsKey = (folio: Folio, scan: string): string =>
  `stratafolio readings: ${folioName(folio)} / ${scan}`;
