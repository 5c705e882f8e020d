/**
 * A folio as one file, for deposits that take few files; as several where the format's limits are met.
 * @source APPNOTE.TXT 6.3.10 (the ZIP file format): 65,535 entries and 4 GiB without the 64-bit extension.
 */

import { once } from 'node:events';
import { createWriteStream } from 'node:fs';
import { readFile, rename, rm, stat } from 'node:fs/promises';
import { basename, join } from 'node:path';
import { Zip, ZipDeflate, ZipPassThrough } from 'fflate';
import { MANIFEST_PATH } from '../../../shared/artefacts/manifest.ts';
import { diskFault } from '../../output/files.ts';
import { folioFiles } from './manifest.ts';

const MOST_ENTRIES = 65_000;
const MOST_BYTES = 3.9e9;
/** Compressed already: packing them again takes time and gains nothing. */
const PACKED = /\.(?:webp|png|jpe?g|woff2|gz|tif)$/i;
/** Entries carry the earliest time that the format can state: two builds are the same, byte for byte. */
const NO_TIME = new Date(1980, 0, 1);

/**
 * @param folder of the finished folio
 * @param target the archive's path without its ending
 * @returns names of the archives
 */
export async function writeZip(folder: string, target: string): Promise<string[]> {
  const parts = await split(folder);
  const made: string[] = [];
  for (const [n, paths] of parts.entries()) {
    const name = parts.length === 1 ? `${target}.zip` : `${target}-${n + 1}of${parts.length}.zip`;
    await writePart(folder, paths, name);
    made.push(name);
  }
  return made;
}

async function split(folder: string): Promise<string[][]> {
  const parts: string[][] = [[]];
  let bytes = 0;
  for (const path of [...(await folioFiles(folder)), MANIFEST_PATH]) {
    const { size } = await stat(join(folder, path));
    if (parts.at(-1)!.length >= MOST_ENTRIES || bytes + size > MOST_BYTES) {
      parts.push([]);
      bytes = 0;
    }
    parts.at(-1)!.push(path);
    bytes += size;
  }
  return parts;
}

async function writePart(folder: string, paths: readonly string[], name: string): Promise<void> {
  const beside = `${name}.part`;
  const out = createWriteStream(beside);
  const failed = new Promise<never>((_, reject) => out.once('error', reject));
  failed.catch(() => {});
  try {
    let isFull = false;
    const zip = new Zip((error, chunk) => {
      if (error) out.destroy(error);
      else isFull = !out.write(chunk);
    });
    const root = basename(folder);
    for (const path of paths) {
      const entry = PACKED.test(path)
        ? new ZipPassThrough(`${root}/${path}`)
        : new ZipDeflate(`${root}/${path}`, { level: 6 });
      entry.mtime = NO_TIME;
      zip.add(entry);
      entry.push(await readFile(join(folder, path)), true);
      if (isFull) await Promise.race([once(out, 'drain'), failed]);
    }
    zip.end();
    out.end();
    await Promise.race([once(out, 'close'), failed]);
    await rename(beside, name);
  } catch (error) {
    out.destroy();
    await rm(beside, { force: true });
    throw diskFault(error, name);
  }
}
