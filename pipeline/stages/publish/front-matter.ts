/** folio.json: the front matter of the folio, and the doubts that belong to the campaign as a whole. */

import type { Campaign } from '../../../shared/artefacts/campaign.ts';
import type { Folio, FolioScan } from '../../../shared/artefacts/folio.ts';
import type { Process } from '../../../shared/artefacts/process.ts';
import type { Box } from '../../../shared/polygon.ts';

/** What of the campaign and its layout goes on the front page. */
export interface FrontMatterSource {
  readonly campaign: Campaign;
  readonly process: Process | null;
}

export interface LayoutFacts {
  readonly layout: { readonly format: 'gdsii' | 'oasis'; readonly cells: ReadonlyMap<string, unknown> };
  readonly top: string;
  readonly file: string;
  readonly bytes: number;
  readonly sha256: string;
  readonly boxUm: Box | null;
  readonly fit: {
    readonly unused: readonly { readonly drawn: string; readonly shapes: number }[];
    readonly notDrawn: readonly string[];
  } | null;
}

export function folioFrontMatter(
  source: FrontMatterSource,
  layout: LayoutFacts | null,
  scans: readonly FolioScan[],
  doubts: readonly string[],
  software: Folio['software'],
  withheld: Folio['withheld'] = null,
): Folio {
  const { campaign, process } = source;
  return {
    version: 1,
    software: { ...software },
    title: campaign.title,
    summary: campaign.summary ?? '',
    creators: campaign.creators,
    publisher: campaign.publisher ?? null,
    year: campaign.year ?? null,
    licence: campaign.licence ?? null,
    identifier: campaign.identifier ?? null,
    chip: {
      name: campaign.chip.name,
      process: process?.name ?? null,
      layout: layout && {
        file: layout.file,
        format: layout.layout.format,
        top: layout.top,
        box_um: layout.boxUm ? [...layout.boxUm] : null,
        bytes: layout.bytes,
        sha256: layout.sha256,
        cells: layout.layout.cells.size,
        unused_drawn: (layout.fit?.unused ?? []).map((entry) => ({ ...entry })),
      },
    },
    stack: process?.layers ?? [],
    scans: [...scans],
    withheld,
    doubts: [...doubts],
  };
}

/** What a careful reader would ask of the campaign as a whole. */
export function campaignDoubts(source: FrontMatterSource, layout: LayoutFacts | null): string[] {
  const doubts: string[] = [];
  const { campaign, process } = source;
  if (!campaign.licence) doubts.push('No licence is stated: nobody may use these data without asking.');
  if (!process) doubts.push('No process table: plates have heights, but no layer names.');
  if (!layout) doubts.push('No layout: there is no drawing to compare the image with.');
  for (const name of layout?.fit?.notDrawn ?? []) {
    doubts.push(`The layout has no shape on ${name}; the block seems to end below it.`);
  }
  return doubts;
}
