/** What of a volume is on the disk, for the checksums of its slices. */
import { join } from 'node:path';
import { InputFault } from '../../shared/errors.ts';
import { type VolumeContent, type VolumeFiles, volumeContent } from '../engine/slice-index.ts';
import { parseRawType } from '../formats/volume/raw.ts';
import type { VolumeSpec } from '../formats/volume/registry.ts';
import { bytesPerVoxel } from '../formats/volume/sample-types.ts';
import { CAMPAIGN_FILE } from '../stages/survey/load-campaign.ts';
import type { BuildSteps } from './steps.ts';

type SumsKept = Pick<BuildSteps, 'cache' | 'inputSums'>;

/**
 * Checksums of a volume, remembered in the cache; those of whole files are kept for the record.
 * @returns null where a file cannot be read as it stands: its reader has the right words for that
 */
export const contentOfVolume = (
  spec: VolumeSpec,
  scanId: string,
  campaignFolder: string,
  steps: SumsKept,
  signal?: AbortSignal,
): Promise<VolumeContent | null> => contentOf(volumeFiles(spec), scanId, campaignFolder, steps, signal);

/**
 * Looks once more whether the files are what they were when their checksums were taken.
 * @throws InputFault when one was changed meanwhile; what was made of them is dropped from the cache
 */
export async function checkUnchanged(
  before: string,
  spec: VolumeSpec,
  scanId: string,
  steps: BuildSteps,
  campaignFolder: string,
): Promise<void> {
  const now = await contentOfVolume(spec, scanId, campaignFolder, steps);
  if (now?.key === before) return;
  await steps.store.dropMade();
  throw new InputFault({
    tag: 'inconsistent',
    file: CAMPAIGN_FILE,
    place: `scan "${scanId}", volume`,
    expected: 'files that stay as they are during a build',
    found: 'one that was changed, added or taken away meanwhile',
    remedy: 'Build again once the files are all in place.',
  });
}

/** Checksums of one file. */
export const contentOfFile = (
  file: string,
  scanId: string,
  campaignFolder: string,
  steps: SumsKept,
): Promise<VolumeContent | null> =>
  contentOf({ files: [file], reading: null, raw: null }, scanId, campaignFolder, steps);

async function contentOf(
  files: VolumeFiles,
  scanId: string,
  campaignFolder: string,
  steps: SumsKept,
  signal?: AbortSignal,
): Promise<VolumeContent | null> {
  try {
    const index = join(steps.cache, 'index', `${scanId}.json`);
    const content = await volumeContent(files, index, campaignFolder, signal);
    for (const [file, sum] of content.files) steps.inputSums.set(file, sum);
    return content;
  } catch (error) {
    if (signal?.aborted || !(error as NodeJS.ErrnoException).code) throw error;
    return null;
  }
}

function volumeFiles(spec: VolumeSpec): VolumeFiles {
  const { kind } = spec;
  if (kind === 'raw') {
    const { file, shape, dtype, offsetBytes = 0 } = spec;
    const [slices, ny, nx] = shape;
    const sliceBytes = nx * ny * bytesPerVoxel(parseRawType(dtype).type);
    return {
      ...{ files: [file], reading: { kind, shape, dtype, offsetBytes } },
      raw: { offset: offsetBytes, sliceBytes, slices },
    };
  }
  if (kind === 'hdf5') return { files: [spec.file], reading: { kind, dataset: spec.dataset }, raw: null };
  if (kind === 'zarr') return { files: [spec.folder], reading: { kind, array: spec.array }, raw: null };
  return { files: spec.files, reading: { kind }, raw: null };
}
