/** From what campaign.yaml says of a scan to what a volume reader needs. */
import { stat } from 'node:fs/promises';
import { basename, extname, isAbsolute, relative } from 'node:path';
import { glob } from 'tinyglobby';
import type { CampaignScan } from '../../../shared/artefacts/campaign.ts';
import { InputFault } from '../../../shared/errors.ts';
import type { VolumeSpec } from '../../formats/volume/registry.ts';
import { orderSeries } from '../../formats/volume/series.ts';
import { checkFound, checkPattern, insideCampaign } from './inside-campaign.ts';
import { CAMPAIGN_FILE, missingNamed } from './load-campaign.ts';

/** Extensions of pictures that hold one slice; all others are taken for TIFF, which says so where it is not. */
const PICTURES: ReadonlySet<string> = new Set(['.png', '.jpg', '.jpeg']);

/**
 * @param allowOutside whether paths and links may leave the campaign folder
 * @throws InputFault for a glob that matches nothing, a gap in the numbers, a file that is not there, or a path that
 *   leaves the folder
 */
export async function volumeSpec(
  folder: string,
  scan: CampaignScan,
  allowOutside = false,
): Promise<VolumeSpec> {
  const volume = scan.volume;
  const key = `scan "${scan.id}", volume`;
  if (!volume) throw new TypeError(`Scan ${scan.id} is not a volume.`);
  const named = async (path: string, kind: string): Promise<string> => {
    const file = await insideCampaign(folder, path, `${key}.${kind}`, allowOutside);
    await stat(file).catch((cause) => {
      throw missingNamed(path, `${key}.${kind}`, cause);
    });
    return file;
  };
  const { dataset } = volume;
  if (dataset !== undefined && volume.hdf5 === undefined && volume.zarr === undefined) {
    throw new InputFault({
      tag: 'schema',
      file: CAMPAIGN_FILE,
      place: `${key}.dataset`,
      expected: 'hdf5 or zarr beside dataset',
      found: volume.raw === undefined ? 'files' : 'raw',
      remedy: 'Take dataset out.',
    });
  }
  if (volume.files !== undefined) return seriesSpec(folder, volume.files, `${key}.files`, allowOutside);
  if (volume.hdf5 !== undefined) {
    const file = await named(volume.hdf5, 'hdf5');
    return { kind: 'hdf5', file, ...(dataset === undefined ? {} : { dataset }) };
  }
  if (volume.zarr !== undefined) {
    const array = dataset === undefined ? {} : { array: dataset };
    return { kind: 'zarr', folder: await named(volume.zarr, 'zarr'), allowOutside, ...array };
  }
  const { raw, shape, dtype } = volume;
  if (raw === undefined || !shape || !dtype) throw new TypeError(`Scan ${scan.id} names no volume.`);
  return { kind: 'raw', file: await named(raw, 'raw'), shape, dtype, offsetBytes: volume.offset_bytes ?? 0 };
}

async function seriesSpec(
  folder: string,
  pattern: string,
  place: string,
  allowOutside: boolean,
): Promise<VolumeSpec> {
  checkPattern(folder, pattern, place, allowOutside);
  const found = await glob(pattern, { cwd: folder, absolute: true, expandDirectories: false });
  await checkFound(folder, found, place, allowOutside);
  const files = orderSeries(found, { pattern, file: CAMPAIGN_FILE, place });
  return { kind: PICTURES.has(extname(files[0]).toLowerCase()) ? 'pictures' : 'tiff', files };
}

/** Path as it may be published: below the campaign, or the name alone, for folders outside are this machine's business. */
export function publishedPath(folder: string, file: string): string {
  const path = campaignPath(folder, file);
  return path.startsWith('..') || isAbsolute(path) ? basename(path) : path;
}

/** Path as the user knows it: relative to the campaign. */
export const campaignPath = (folder: string, file: string): string =>
  relative(folder, file).replaceAll('\\', '/');
