/** Whether a path that campaign.yaml names stays in the campaign folder: files from strangers must not read others. */
import { realpath } from 'node:fs/promises';
import { isAbsolute, relative, resolve, win32 } from 'node:path';
import type { Campaign } from '../../../shared/artefacts/campaign.ts';
import { InputFault } from '../../../shared/errors.ts';

/** The file that holds all paths. */
const FILE = 'campaign.yaml';
export const ALLOW_OUTSIDE = '--follow-links-out';

/**
 * Absolute path of what campaign.yaml names. A path that is not there is only looked at as it is written.
 * @param key where it stands, for the message: "chip.layout.file"
 * @param allowOutside whether the user has allowed paths and links that leave the folder
 * @throws InputFault when it is absolute, or leaves the folder by `..` or through a link
 */
export async function insideCampaign(
  folder: string,
  named: string,
  key: string,
  allowOutside: boolean,
): Promise<string> {
  const path = resolve(folder, named);
  if (allowOutside) return path;
  // A path of another system's kind is none that this one could follow, and is no relative path either.
  if (isAbsolute(named) || win32.isAbsolute(named)) throw outside(named, key, 'an absolute path');
  if (leaves(folder, path)) throw outside(named, key, 'a path that leaves it by ..');
  await checkLinks(folder, [path], key);
  return path;
}

/**
 * Checks a glob as it is written: the folders before its first pattern.
 * @throws InputFault when it is absolute or climbs out of the folder
 */
export function checkPattern(folder: string, pattern: string, key: string, allowOutside: boolean): void {
  if (allowOutside) return;
  if (isAbsolute(pattern) || win32.isAbsolute(pattern)) throw outside(pattern, key, 'an absolute path');
  if (leaves(folder, resolve(folder, pattern))) throw outside(pattern, key, 'a path that leaves it by ..');
}

/**
 * Checks the files that a glob has found, their links followed.
 * @param paths absolute
 * @throws InputFault for the first that lies outside the folder
 */
export async function checkFound(
  folder: string,
  paths: readonly string[],
  key: string,
  allowOutside: boolean,
): Promise<void> {
  if (allowOutside) return;
  const gone = paths.find((path) => leaves(folder, path));
  if (gone !== undefined) throw outside(relative(folder, gone), key, 'a path that leaves it by ..');
  await checkLinks(folder, paths, key);
}

/** Checks every single path of a campaign; globs are checked again when they are opened out. */
export async function checkCampaignPaths(
  folder: string,
  campaign: Campaign,
  allowOutside: boolean,
): Promise<void> {
  const { chip, lessons } = campaign;
  const single: [string, string | undefined][] = [
    ['chip.process', chip.process],
    ['chip.layout.file', chip.layout?.file],
  ];
  const patterns: [string, string | undefined][] = [['lessons', lessons]];
  for (const { id, volume, image, placement } of campaign.scans) {
    patterns.push([`scan "${id}", volume.files`, volume?.files]);
    for (const kind of ['hdf5', 'zarr', 'raw'] as const) {
      single.push([`scan "${id}", volume.${kind}`, volume?.[kind]]);
    }
    single.push([`scan "${id}", image.file`, image?.file]);
    single.push([`scan "${id}", placement.landmarks`, placement?.landmarks]);
  }
  for (const [key, pattern] of patterns) {
    if (pattern !== undefined) checkPattern(folder, pattern, key, allowOutside);
  }
  for (const [key, named] of single) {
    if (named !== undefined) await insideCampaign(folder, named, key, allowOutside);
  }
}

function leaves(folder: string, path: string): boolean {
  const way = relative(folder, path);
  return way === '..' || /^\.\.[\\/]/.test(way) || isAbsolute(way);
}

/** Looked up together up to this many. */
const LANES = 16;

async function checkLinks(folder: string, paths: readonly string[], key: string): Promise<void> {
  const real = await realpath(folder).catch(() => resolve(folder));
  for (let from = 0; from < paths.length; from += LANES) {
    const some = paths.slice(from, from + LANES);
    const places = await Promise.all(some.map((path) => realpath(path).catch(() => null)));
    const at = places.findIndex((place) => place !== null && leaves(real, place));
    if (at >= 0) throw outside(relative(folder, some[at]), key, 'a link that leads out of it');
  }
}

function outside(named: string, key: string, found: string): InputFault {
  return new InputFault({
    tag: 'unsupported',
    file: FILE,
    place: key,
    expected: 'a path inside the campaign folder',
    found: `"${named.replaceAll('\\', '/')}", ${found}`,
    remedy: `Put the file into the folder, or allow it with ${ALLOW_OUTSIDE}.`,
  });
}
