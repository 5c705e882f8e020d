/**
 * Makes a built site relocatable. The builder writes every address of its own under a sentinel base; here the
 * sentinel becomes a relative prefix by the depth of each file, so that the folio works below any path, and goes on
 * working after it was moved.
 */
import { readdir, readFile, writeFile } from 'node:fs/promises';
import { extname, join, relative, sep } from 'node:path';
import { fileURLToPath } from 'node:url';
import type { AstroIntegration } from 'astro';

/** Never the path of a real site; slashes included so that nothing else can match. */
export const SENTINEL = '/__folio__/';

/** "./" for a file at the top, "../" once per folder above the file. */
export const relativePrefix = (depth: number): string => (depth === 0 ? './' : '../'.repeat(depth));

/** @param path of the file below the site, with forward slashes */
export function relativise(text: string, path: string): string {
  const prefix = relativePrefix(path.split('/').length - 1);
  return text.replaceAll(SENTINEL, prefix);
}

/** @throws Error where a file that is no page carries the sentinel, since nothing else is rewritten */
export function checkAddresses(content: string | Uint8Array, path: string): void {
  if (!CHECKED.has(extname(path)) || !Buffer.from(content).includes(SENTINEL)) return;
  // A script resolves addresses against the page, whose depth it does not know: pages must pass them in.
  throw new Error(`${path} holds an absolute address of the site; pass it in through an attribute.`);
}

const REWRITTEN = new Set(['.html', '.css']);
const CHECKED = new Set(['.js', '.mjs', '.json', '.txt', '.svg']);

/** Rewrites all pages and styles below a folder. @throws Error where a script carries the sentinel */
export async function relativiseFolder(folder: string): Promise<number> {
  let changed = 0;
  for (const entry of await readdir(folder, { recursive: true, withFileTypes: true })) {
    if (!entry.isFile()) continue;
    const file = join(entry.parentPath, entry.name);
    const kind = extname(entry.name);
    if (!REWRITTEN.has(kind) && !CHECKED.has(kind)) continue;
    const text = await readFile(file, 'utf8');
    if (!text.includes(SENTINEL)) continue;
    const path = relative(folder, file).split(sep).join('/');
    checkAddresses(text, path);
    await writeFile(file, relativise(text, path));
    changed++;
  }
  return changed;
}

export const relativeLinks = (): AstroIntegration => ({
  name: 'relative-links',
  hooks: {
    'astro:build:done': async ({ dir, logger }) => {
      const changed = await relativiseFolder(fileURLToPath(dir));
      logger.info(`${changed} files made relative`);
    },
  },
});
