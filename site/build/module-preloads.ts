/**
 * Names in the head of every page the scripts that its scripts import, so that they are fetched at once and not one
 * after the other. @source HTML Living Standard, "modulepreload".
 */
import { readdir, readFile, writeFile } from 'node:fs/promises';
import { dirname, join, posix } from 'node:path';
import { fileURLToPath } from 'node:url';
import type { AstroIntegration } from 'astro';
import { init, parse } from 'es-module-lexer';

/** Static imports of a bundled module from beside it; what it imports on demand is not wanted yet. */
export function staticImports(code: string): string[] {
  const [imports] = parse(code);
  return imports.flatMap(({ d: dynamic, n: name }) =>
    dynamic === -1 && name?.startsWith('.') ? [name] : [],
  );
}

/** All modules that one needs before it can run, itself left out, each once. */
export async function needed(entry: string, read: (path: string) => Promise<string>): Promise<string[]> {
  await init;
  const seen = new Set([entry]);
  for (const path of seen) {
    for (const other of staticImports(await read(path))) seen.add(posix.join(posix.dirname(path), other));
  }
  seen.delete(entry);
  return [...seen];
}

/** @param html a page with relative addresses @param read a module by its address in the page */
export async function withPreloads(html: string, read: (path: string) => Promise<string>): Promise<string> {
  const entries = [...html.matchAll(/<script type="module" src="([^"]+)"/g)].map((found) => found[1]!);
  const all = new Set<string>();
  for (const entry of entries) for (const path of await needed(entry, read)) all.add(path);
  const links = [...all].map((path) => `<link rel="modulepreload" href="${path}">`).join('');
  return links === '' ? html : html.replace('</head>', `${links}</head>`);
}

/** After the addresses were made relative. */
export const modulePreloads = (): AstroIntegration => ({
  name: 'module-preloads',
  hooks: {
    'astro:build:done': async ({ dir }) => {
      const folder = fileURLToPath(dir);
      const held = new Map<string, Promise<string>>();
      const text = (path: string): Promise<string> => {
        const one = held.get(path) ?? readFile(path, 'utf8');
        held.set(path, one);
        return one;
      };
      for (const entry of await readdir(folder, { recursive: true, withFileTypes: true })) {
        if (!entry.isFile() || !entry.name.endsWith('.html')) continue;
        const file = join(entry.parentPath, entry.name);
        const html = await readFile(file, 'utf8');
        const better = await withPreloads(html, (path) => text(join(dirname(file), path)));
        if (better !== html) await writeFile(file, better);
      }
    },
  },
});
