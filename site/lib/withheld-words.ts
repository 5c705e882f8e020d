/** Plain sentences on what a folio does not show, and where. */
import type { FolioWithheld, Withheld } from '../../shared/artefacts/withheld.ts';
import { formatFixed } from './numbers.ts';

const count = (n: number, one: string, many: string): string =>
  `${n === 1 ? 'one' : n} ${n === 1 ? one : many}`;
const listed = (parts: readonly string[]): string =>
  parts.length < 2 ? (parts[0] ?? '') : `${parts.slice(0, -1).join(', ')} and ${parts.at(-1)}`;

/** X 0.00 to 20.00, Y 0.00 to 20.00 µm */
export const boxWords = ([x0, y0, x1, y1]: readonly [number, number, number, number]): string =>
  `X ${formatFixed(x0, 2)} to ${formatFixed(x1, 2)}, Y ${formatFixed(y0, 2)} to ${formatFixed(y1, 2)}\u00a0µm`;

/** For the front page, the most general first. */
export function folioWithheldWords(withheld: FolioWithheld): string[] {
  const what = [
    ...(withheld.regions_um.length > 0 ? [count(withheld.regions_um.length, 'region', 'regions')] : []),
    ...(withheld.cells > 0 ? [count(withheld.cells, 'cell of the layout', 'cells of the layout')] : []),
    ...(withheld.drawn_layers > 0 ? [count(withheld.drawn_layers, 'drawn layer', 'drawn layers')] : []),
  ];
  const said = [
    `Not everything may be published: ${listed(what)} ${what.length === 1 && what[0]!.startsWith('one') ? 'is' : 'are'} withheld, and not part of this folio.`,
  ];
  if (withheld.regions_um.length > 0)
    said.push(
      `Regions without image and drawing: ${withheld.regions_um.slice(0, 12).map(boxWords).join('; ')}${withheld.regions_um.length > 12 ? '; and more' : ''}.`,
    );
  if (withheld.layers.length > 0)
    said.push(
      `The drawing of ${listed(withheld.layers)} is withheld, whole or in part: nothing is compared or measured there.`,
    );
  if (withheld.scans.length > 0)
    said.push(
      `Left out whole, for want of a certain place: ${withheld.scans.map(({ title }) => title).join('; ')}.`,
    );
  return said;
}

/** For the record of one scan. */
export function scanWithheldWords(withheld: Withheld): string[] {
  const regions = withheld.places.filter(({ kind }) => kind === 'region');
  const cells = withheld.places.length - regions.length + withheld.more_cells;
  const said: string[] = [];
  if (regions.length > 0)
    said.push(`Without image and drawing: ${regions.map(({ box_um }) => boxWords(box_um)).join('; ')}.`);
  if (cells > 0)
    said.push(
      `${count(cells, 'cell', 'cells')} of the drawing ${cells === 1 ? 'is' : 'are'} shown as plain outlines${withheld.in_image === 'regions' ? '' : ', without image'}.`,
    );
  for (const { name, drawing } of withheld.layers)
    said.push(`The drawing of ${name} is withheld ${drawing === 'whole' ? 'as a whole' : 'in part'}.`);
  if (said.length > 0 && withheld.places.length > 0) said.push('Nets that run into such a place end there.');
  return said.length > 0 ? said : ['Nothing is withheld in the field of this scan.'];
}
