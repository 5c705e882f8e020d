/** Where results of a campaign's stages are kept from build to build. The folder may be deleted at any time. */
import { createHash } from 'node:crypto';
import { access, constants, mkdir } from 'node:fs/promises';
import { homedir } from 'node:os';
import { join, resolve } from 'node:path';
import { diskFault } from '../output/files.ts';

export const CACHE_FOLDER = '.stratafolio-cache';

/**
 * Beside the campaign's files, on the disk that has room for them; where the campaign may not be written to, in the
 * user's own cache folder (XDG Base Directory Specification 0.8: $XDG_CACHE_HOME, or ~/.cache).
 * @throws InputFault when neither can be written to
 */
export async function cachePlace(campaignFolder: string): Promise<string> {
  const beside = join(campaignFolder, CACHE_FOLDER);
  if (await writable(beside)) return beside;
  const home = process.env.XDG_CACHE_HOME || join(homedir(), '.cache');
  const name = createHash('sha256').update(resolve(campaignFolder)).digest('hex').slice(0, 16);
  const place = join(home, 'stratafolio', name);
  try {
    await mkdir(place, { recursive: true });
  } catch (error) {
    throw diskFault(error, place);
  }
  return place;
}

async function writable(folder: string): Promise<boolean> {
  try {
    await mkdir(folder, { recursive: true });
    await access(folder, constants.W_OK);
    return true;
  } catch {
    return false;
  }
}
