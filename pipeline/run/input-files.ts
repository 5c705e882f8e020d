/** Every file that a build reads, for the record: the stages name them, the record gives them checksums. */
import { readdir, stat } from 'node:fs/promises';
import { join, resolve } from 'node:path';
import type { InputFile } from '../stages/publish/record/write-record.ts';
import { REVIEWS_FILE } from '../stages/publish/reviews.ts';
import { CAMPAIGN_FILE, type LoadedCampaign } from '../stages/survey/load-campaign.ts';
import { publishedPath } from '../stages/survey/volume-spec.ts';

/**
 * @param published ids of the scans that are not left out whole
 * @param volumes files of each volume as its reader names them, below the campaign, by the scan's id
 */
export async function inputFiles(
  loaded: LoadedCampaign,
  lessons: readonly string[],
  hasReviews: boolean,
  published: ReadonlySet<string>,
  volumes: ReadonlyMap<string, readonly string[]>,
): Promise<InputFile[]> {
  const { folder, campaign } = loaded;
  const files: InputFile[] = [];
  const add = (named: string | undefined, role: InputFile['role'], scan: string | null = null) => {
    if (named === undefined) return;
    const file = resolve(folder, named);
    files.push({ file, path: publishedPath(folder, file), role, scan });
  };
  add(CAMPAIGN_FILE, 'campaign');
  add(campaign.chip.process, 'process');
  add(campaign.chip.layout?.file, 'layout');
  for (const lesson of lessons) add(lesson, 'lesson');
  add(campaign.glossary, 'lesson');
  if (hasReviews) add(REVIEWS_FILE, 'reviews');
  for (const scan of campaign.scans) {
    if (!published.has(scan.id)) continue;
    add(scan.placement?.landmarks, 'landmarks', scan.id);
    add(scan.image?.file, 'picture', scan.id);
    for (const named of new Set(volumes.get(scan.id)))
      for (const file of await filesAt(resolve(folder, named))) add(file, 'volume', scan.id);
  }
  return files;
}

/** A volume may be a folder of many files: all of them, in an order that does not depend on the disk. */
async function filesAt(path: string): Promise<string[]> {
  if (!(await stat(path)).isDirectory()) return [path];
  const entries = await readdir(path, { recursive: true, withFileTypes: true });
  return entries
    .filter((entry) => entry.isFile())
    .map((entry) => join(entry.parentPath, entry.name))
    .sort();
}
