/** `stratafolio check`: reads headers and says what a build will find. */
import { publicLines } from '../run/check-public.ts';
import { describeCampaign } from '../stages/survey/describe/describe-campaign.ts';
import { describeLayout } from '../stages/survey/describe/describe-layout.ts';
import { describeScan } from '../stages/survey/describe/describe-scan.ts';
import { doubtsIn, printed } from '../stages/survey/describe/entries.ts';
import { loadCampaign } from '../stages/survey/load-campaign.ts';
import { loadLayout } from '../stages/survey/load-layout.ts';

export async function checkCampaign(path: string, allowOutside = false): Promise<number> {
  const loaded = await loadCampaign(path, allowOutside);
  const layout = await loadLayout(loaded);
  const entries = describeCampaign(loaded);
  if (layout) entries.push(...describeLayout(layout, loaded.process));
  const { scans, tiles } = loaded.campaign;
  for (const scan of scans) entries.push(...(await describeScan(loaded, layout, scan, tiles)));
  const doubts = doubtsIn(entries);
  const closing =
    doubts === 0
      ? 'Everything that a build needs is here.'
      : `Everything that a build needs is here. ${doubts === 1 ? 'One line is' : `${doubts} lines are`} marked "doubt": look at ${doubts === 1 ? 'it' : 'them'} first.`;
  process.stdout.write(`${[...printed(entries), ...publicLines(loaded, layout), '', closing].join('\n')}\n`);
  return 0;
}
