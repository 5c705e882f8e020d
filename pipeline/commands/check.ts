/** `stratafolio check`: reads headers and says what a build will find. */
import { publicLines } from '../run/check-public.ts';
import { describeCampaign, describeLayout, describeScan } from '../stages/survey/describe-campaign.ts';
import { loadCampaign } from '../stages/survey/load-campaign.ts';
import { loadLayout } from '../stages/survey/load-layout.ts';

export async function checkCampaign(path: string, allowOutside = false): Promise<number> {
  const loaded = await loadCampaign(path, allowOutside);
  const layout = await loadLayout(loaded);
  const lines = describeCampaign(loaded);
  if (layout) lines.push(...describeLayout(layout, loaded.process));
  else lines.push('', 'No layout: the folio will show the image without a drawing.');
  for (const scan of loaded.campaign.scans)
    lines.push(...(await describeScan(loaded.folder, scan, allowOutside)));
  lines.push(...publicLines(loaded, layout));
  process.stdout.write(`${lines.join('\n')}\n`);
  return 0;
}
