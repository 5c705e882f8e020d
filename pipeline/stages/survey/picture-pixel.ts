/** How large a pixel of a flat picture is. */
import type { CampaignScan } from '../../../shared/artefacts/campaign.ts';
import { InputFault } from '../../../shared/errors.ts';
import { CAMPAIGN_FILE } from './load-campaign.ts';

/**
 * The campaign's word. A picture's own dots per inch are those of a printer or a screen, not of the chip.
 * @throws InputFault when the campaign does not say
 */
export function picturePixelUm(scan: CampaignScan): number {
  if (scan.pixel_nm !== undefined) return scan.pixel_nm / 1000;
  throw new InputFault({
    tag: 'inconsistent',
    file: CAMPAIGN_FILE,
    place: `scan "${scan.id}"`,
    expected: 'pixel_nm beside image',
    found: 'no pixel size',
    remedy: 'Add pixel_nm: the side of a pixel on the chip, in nanometres.',
  });
}
