/** The campaign as `check` tells it. */
import type { LoadedCampaign } from '../load-campaign.ts';
import { type Entry, heading, row, um } from './entries.ts';

export function describeCampaign({ campaign, process }: LoadedCampaign): Entry[] {
  const only = campaign.scans.every((scan) => scan.image);
  const top = process && Math.max(...process.layers.map((l) => l.bottom_um + l.thickness_um));
  return [
    heading(campaign.title),
    row('creators', campaign.creators.map((c) => c.name).join('; ') || 'none named'),
    row('licence', campaign.licence ?? 'none stated: others will not know what they may do with the folio'),
    row('chip', campaign.chip.name),
    row(
      'process',
      process
        ? `${process.name}, ${process.layers.length} layers, ${um(process.layers[0]!.bottom_um)} to ${um(top!)} µm`
        : `no process table${only ? '' : ': plates get heights, no layer names'}`,
    ),
    ...(campaign.chip.layout ? [] : [row('layout', 'none: the folio will show the image without a drawing')]),
  ];
}
