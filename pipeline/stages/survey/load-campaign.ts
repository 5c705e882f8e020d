/** Reads campaign.yaml and what it names, up to but without the pixels. */
import { readFile, stat } from 'node:fs/promises';
import { basename, dirname, join, resolve } from 'node:path';
import { type Campaign, campaignSchema } from '../../../shared/artefacts/campaign.ts';
import { layersUpward, type Process, processSchema } from '../../../shared/artefacts/process.ts';
import { readYaml } from '../../../shared/artefacts/read.ts';
import { InputFault } from '../../../shared/errors.ts';
import { checkCampaignPaths } from './inside-campaign.ts';

export const CAMPAIGN_FILE = 'campaign.yaml';

export interface LoadedCampaign {
  /** Absolute path of the campaign folder. */
  readonly folder: string;
  readonly campaign: Campaign;
  /** Layers from the silicon up; null where the campaign names no process. */
  readonly process: Process | null;
  /** Whether the user allows paths and links that leave the folder. */
  readonly allowOutside: boolean;
}

/**
 * @param path the campaign folder, or its campaign.yaml
 * @param allowOutside whether paths and links in it may leave the folder
 * @throws InputFault for a missing file, bad YAML, content that is not of the schema, or a path that leaves the folder.
 */
export async function loadCampaign(path: string, allowOutside = false): Promise<LoadedCampaign> {
  const absolute = resolve(path);
  const folder = basename(absolute) === CAMPAIGN_FILE ? dirname(absolute) : absolute;
  const text = await readCampaignText(join(folder, CAMPAIGN_FILE), path);
  const campaign = readYaml(text, CAMPAIGN_FILE, campaignSchema);
  await checkCampaignPaths(folder, campaign, allowOutside);
  if (!campaign.chip.process) return { folder, campaign, process: null, allowOutside };
  const named = campaign.chip.process;
  const process = readYaml(await readNamed(folder, named, 'chip.process'), named, processSchema);
  return { folder, campaign, process: { ...process, layers: layersUpward(process) }, allowOutside };
}

async function readCampaignText(file: string, given: string): Promise<string> {
  try {
    return await readFile(file, 'utf8');
  } catch (cause) {
    const there = await stat(dirname(file)).catch(() => null);
    throw new InputFault(
      {
        tag: 'missing-file',
        file: given,
        expected: `a campaign folder with ${CAMPAIGN_FILE} in it`,
        found: there ? `no readable ${CAMPAIGN_FILE}` : 'no such folder',
        remedy: 'Name a campaign folder, or make one with `stratafolio new <folder>`.',
      },
      { cause },
    );
  }
}

/**
 * Text of a file that campaign.yaml names.
 * @throws InputFault naming the key it stands under.
 */
export async function readNamed(folder: string, named: string, key: string): Promise<string> {
  try {
    return await readFile(resolve(folder, named), 'utf8');
  } catch (cause) {
    throw missingNamed(named, key, cause);
  }
}

export function missingNamed(named: string, key: string, cause?: unknown): InputFault {
  const refused = ['EACCES', 'EPERM'].includes((cause as NodeJS.ErrnoException | undefined)?.code ?? '');
  return new InputFault(
    {
      tag: refused ? 'no-permission' : 'missing-file',
      file: CAMPAIGN_FILE,
      place: key,
      expected: 'a file in the campaign folder that can be read',
      found: refused ? `"${named}", which may not be read` : `"${named}", which is not there`,
      remedy: refused ? 'Change its permissions.' : 'Correct the path, or put the file there.',
    },
    { cause },
  );
}
