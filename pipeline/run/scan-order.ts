/** The order in which scans are placed: an overview before the scans that lie in it. */
import type { Campaign, CampaignScan } from '../../shared/artefacts/campaign.ts';

/** The schema has refused names of no scan and circles. */
export function scanOrder({ scans }: Pick<Campaign, 'scans'>): CampaignScan[] {
  const ordered: CampaignScan[] = [];
  const add = (scan: CampaignScan): void => {
    if (ordered.includes(scan)) return;
    const outer = scans.find(({ id }) => id === scan.inside);
    if (outer) add(outer);
    ordered.push(scan);
  };
  scans.forEach(add);
  return ordered;
}

/** The scans that one lies in, the widest first. */
export function outerScans({ scans }: Pick<Campaign, 'scans'>, scan: CampaignScan): CampaignScan[] {
  const outer = scans.find(({ id }) => id === scan.inside);
  return outer ? [...outerScans({ scans }, outer), outer] : [];
}
