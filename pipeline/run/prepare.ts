/** What every process of a build starts from: the campaign, its layout, what is withheld. */
import { resolveWithheld, type Withholding } from '../stages/publish/withhold/resolve.ts';
import { type LoadedCampaign, loadCampaign } from '../stages/survey/load-campaign.ts';
import { type LoadedLayout, loadLayout } from '../stages/survey/load-layout.ts';
import type { Timed } from './steps.ts';

export interface Prepared {
  readonly loaded: LoadedCampaign;
  readonly layout: LoadedLayout | null;
  readonly withheld: Withholding;
}

/** @throws InputFault */
export async function prepare(campaignPath: string, allowOutside: boolean, timed: Timed): Promise<Prepared> {
  const loaded = await loadCampaign(campaignPath, allowOutside);
  const layout = await timed('survey', () => loadLayout(loaded));
  return { loaded, layout, withheld: resolveWithheld(loaded.campaign, layout) };
}
