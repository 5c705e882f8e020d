/**
 * Names in the head of every page the scripts that its scripts import, so that they are fetched at once and not one
 * after the other. @source HTML Living Standard, "modulepreload".
 */
import { posix } from 'node:path';
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
