/** From what campaign.yaml says of a scan to what a volume reader needs. */
import { stat } from 'node:fs/promises';
import { join, relative } from 'node:path';
import { glob } from 'tinyglobby';
import type { CampaignScan } from '../../../shared/artefacts/campaign.ts';
import { InputFault } from '../../../shared/errors.ts';
import type { VolumeSpec } from '../../formats/volume/registry.ts';
import { orderSeries } from '../../formats/volume/series.ts';
import { CAMPAIGN_FILE, missingNamed } from './load-campaign.ts';

/** @throws InputFault for a glob that matches nothing, a gap in the numbers, or a format without a reader. */
export async function volumeSpec(folder: string, scan: CampaignScan): Promise<VolumeSpec> {
  const volume = scan.volume;
  const key = `scan "${scan.id}", volume`;
  if (!volume) throw new TypeError(`Scan ${scan.id} is not a volume.`);
  if (volume.files !== undefined) {
    const found = await glob(volume.files, { cwd: folder, absolute: true, expandDirectories: false });
    return {
      kind: 'tiff',
      files: orderSeries(found, { pattern: volume.files, file: CAMPAIGN_FILE, place: `${key}.files` }),
    };
  }
  if (volume.raw !== undefined && volume.shape && volume.dtype) {
    const file = join(folder, volume.raw);
    await stat(file).catch((cause) => {
      throw missingNamed(volume.raw!, `${key}.raw`, cause);
    });
    return {
      kind: 'raw',
      file,
      shape: volume.shape,
      dtype: volume.dtype,
      offsetBytes: volume.offset_bytes ?? 0,
    };
  }
  throw new InputFault({
    tag: 'unsupported',
    file: CAMPAIGN_FILE,
    place: key,
    expected: 'files (a TIFF stack) or raw',
    found: volume.hdf5 !== undefined ? `hdf5: ${volume.hdf5}` : `zarr: ${volume.zarr}`,
    remedy: 'This version has no reader for it yet; convert the volume to a TIFF stack.',
  });
}

/** Path as the user knows it: relative to the campaign. */
export const campaignPath = (folder: string, file: string): string =>
  relative(folder, file).replaceAll('\\', '/');
