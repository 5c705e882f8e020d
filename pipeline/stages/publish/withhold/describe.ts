/** What `check` says of withholding: what will be public, and what will not. */
import type { Campaign } from '../../../../shared/artefacts/campaign.ts';
import type { Process } from '../../../../shared/artefacts/process.ts';
import { shownProcess, type WithheldLayout, type Withholding, withheldLayers } from './resolve.ts';

/** @returns lines of text */
export function describePublic(
  campaign: Campaign,
  process: Process | null,
  source: WithheldLayout | null,
  withheld: Withholding,
): string[] {
  const shown = process && shownProcess(process, withheld);
  const drawn = shown?.layers.flatMap((layer) => [...layer.drawn, ...(layer.labels ?? [])]) ?? [];
  const volumes = campaign.scans.filter((scan) => scan.volume).map((scan) => scan.id);
  const pictures = campaign.scans.filter((scan) => scan.image).map((scan) => scan.id);
  const lines = ['', 'Public, once the folio is published:'];
  const say = (label: string, text: string) => lines.push(`  ${label.padEnd(15)} ${text}`);
  say('image', volumes.length > 0 ? `every height of ${volumes.join(', ')}` : 'no volume');
  if (pictures.length > 0) say('pictures', withheld.hidesPlaces ? 'none (see below)' : pictures.join(', '));
  if (source) {
    say(
      'drawing',
      drawn.length > 0 ? `shapes and labels of ${[...new Set(drawn)].join(' ')} inside the scans` : 'none',
    );
    const cells = source.layout.cells.size - withheld.cells.size;
    say(
      'cell names',
      `of ${cells} ${cells === 1 ? 'cell, where it lies' : 'cells, where they lie'} in a scan`,
    );
    say('layout file', `its name, size and checksum; not the file itself`);
  }
  say('record', 'title, creators, acquisition, names of input files, lessons, reviews');
  lines.push('', 'Withheld:');
  if (withheld.isEmpty) return [...lines, '  nothing'];
  for (const box of withheld.regionsUm)
    say('region', `X ${box[0]} to ${box[2]}, Y ${box[1]} to ${box[3]} µm: image and drawing at every height`);
  const cells = [...withheld.cells].sort();
  if (cells.length > 0) {
    const named = `${cells.slice(0, 12).join(', ')}${cells.length > 12 ? `, and ${cells.length - 12} more` : ''}`;
    const image = withheld.cellsLeaveImage
      ? 'drawing, labels, names, and the image over them'
      : 'drawing, labels and names; their image is shown';
    say('cells', `${named} (${image})`);
  }
  if (withheld.drawn.size > 0)
    say(
      'drawn layers',
      `${[...withheld.drawn].join(' ')} (the image of such a layer is shown; withhold regions to hide it)`,
    );
  for (const { name, drawing } of withheldLayers(process, withheld))
    say(
      '',
      `the drawing of ${name}, ${drawing === 'whole' ? 'whole' : 'in part'}: not compared, not measured`,
    );
  if (withheld.hidesPlaces)
    say(
      'scans',
      'each one whose place on the die is not locked is left out whole, and so is every flat picture',
    );
  return lines;
}
