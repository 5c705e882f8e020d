/** What `check` says of what will be public: the survey's campaign and layout, read by the publish stage. */
import { describePublic } from '../stages/publish/withhold/describe.ts';
import { resolveWithheld } from '../stages/publish/withhold/resolve.ts';
import type { LoadedCampaign } from '../stages/survey/load-campaign.ts';
import type { LoadedLayout } from '../stages/survey/load-layout.ts';

/** @throws InputFault for something withheld that is not in the layout */
export const publicLines = ({ campaign, process }: LoadedCampaign, layout: LoadedLayout | null): string[] =>
  describePublic(campaign, process, layout, resolveWithheld(campaign, layout));
