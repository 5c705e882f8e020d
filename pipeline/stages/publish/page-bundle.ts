/**
 * The pages as a program, and what browsers get beside them: made by the site generator out of the sources alone, once
 * for a version of the code, and kept beside the libraries for every folio. Deleted, it is made again.
 */
import { mkdir, mkdtemp, readdir, readFile, rename, rm, stat, utimes, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { diskFault } from '../../output/files.ts';
import { runNode } from './run-node.ts';

const ROOT = fileURLToPath(new URL('../../../', import.meta.url));
/** Below the libraries, so that the program finds the compiled ones. */
const PLACE = join(ROOT, 'node_modules', '.cache', 'stratafolio-pages');
const LIST = 'files.json';
const HALF_MADE = 'half-made-';
const UNUSED_MS = 14 * 24 * 3600e3;
const HALF_MADE_MS = 3600e3;

/** Path, size and time of writing of each file. */
type Listed = readonly [string, number, number];

/**
 * @param version of everything the bundle is made of
 * @param fresh whether a bundle that is there is made again
 * @returns its folder, whole
 */
export async function pageBundle(version: string, fresh = false, signal?: AbortSignal): Promise<string> {
  const folder = join(PLACE, version);
  if (!fresh && (await isWhole(folder))) {
    const now = new Date();
    await utimes(folder, now, now).catch(() => {});
    return folder;
  }
  const refused = (error: unknown): never => {
    throw diskFault(error, PLACE);
  };
  await mkdir(PLACE, { recursive: true }).catch(refused);
  const made = await mkdtemp(join(PLACE, HALF_MADE)).catch(refused);
  try {
    const { code, words } = await runNode(
      [join(ROOT, 'node_modules', 'astro', 'bin', 'astro.mjs'), 'build', '--root', ROOT],
      { STRATAFOLIO_BUNDLE: made, ASTRO_TELEMETRY_DISABLED: '1' },
      ROOT,
      signal,
    );
    if (code !== 0) {
      throw diskFault(new Error(`The site generator failed (exit ${code}).\n${words}`), PLACE);
    }
    await writeFile(join(made, LIST), JSON.stringify(await listed(made))).catch(refused);
    await putInPlace(made, folder, fresh);
  } finally {
    await rm(made, { recursive: true, force: true });
  }
  await dropUnused();
  return folder;
}

/** Another build may put the same bundle there at the same time: then either will do. */
async function putInPlace(made: string, folder: string, fresh: boolean): Promise<void> {
  const there = await stat(folder).catch(() => null);
  if (there && !fresh && (await isWhole(folder))) return;
  // Whoever reads the old one goes on with files of the same content.
  if (there) await rename(folder, `${made}-old`).catch(() => {});
  await rename(made, folder).catch(async (error) => {
    if (!(await isWhole(folder))) throw error;
  });
  await rm(`${made}-old`, { recursive: true, force: true });
}

async function listed(folder: string): Promise<Listed[]> {
  const entries = await readdir(folder, { recursive: true, withFileTypes: true });
  const paths = entries.filter((entry) => entry.isFile()).map((entry) => join(entry.parentPath, entry.name));
  return Promise.all(
    paths.map(async (path): Promise<Listed> => {
      const { size, mtimeMs } = await stat(path);
      return [path.slice(folder.length + 1), size, mtimeMs];
    }),
  );
}

async function isWhole(folder: string): Promise<boolean> {
  const list = await readFile(join(folder, LIST), 'utf8').then(
    (text) => JSON.parse(text) as Listed[],
    () => null,
  );
  if (!list) return false;
  const sound = await Promise.all(
    list.map(async ([path, bytes, mtimeMs]) => {
      const found = await stat(join(folder, path)).catch(() => null);
      return found?.size === bytes && found.mtimeMs === mtimeMs;
    }),
  );
  return sound.every(Boolean);
}

/** Bundles of earlier versions that nobody used for long, and what killed builds left. */
async function dropUnused(): Promise<void> {
  for (const name of await readdir(PLACE).catch(() => [])) {
    const folder = join(PLACE, name);
    const found = await stat(folder).catch(() => null);
    const age = found ? Date.now() - found.mtimeMs : 0;
    if (age > (name.startsWith(HALF_MADE) ? HALF_MADE_MS : UNUSED_MS)) {
      await rm(folder, { recursive: true, force: true }).catch(() => {});
    }
  }
}
