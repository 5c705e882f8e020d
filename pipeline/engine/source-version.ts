/** The version of a piece of work: the sources that take part in it, so that a change of code is never overlooked. */
import { createHash } from 'node:crypto';
import { existsSync, readdirSync, readFileSync, statSync } from 'node:fs';
import { dirname, join, relative, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';

const ROOT = fileURLToPath(new URL('../../', import.meta.url));
/** Imports of any form, and modules named by address, as threads are. */
const NAMED = /(?:from|import)\s*\(?\s*['"](\.[^'"]+)['"]|new URL\(\s*['"](\.[^'"]+)['"]/g;

const texts = new Map<string, { readonly hash: string; readonly imports: readonly string[] }>();
const versions = new Map<string, string>();

/**
 * SHA-256 over the sources reached from some modules by imports, the exact versions of the packages and the platform.
 * @param modules paths relative to the root of the project; read once per process
 * @param alone modules that count without what they import
 */
export function sourceVersion(modules: readonly string[], alone: readonly string[] = []): string {
  const name = `${modules.join('\n')}\n\n${alone.join('\n')}`;
  const known = versions.get(name);
  if (known) return known;
  const reached = new Set<string>();
  const waiting = modules.map((module) => join(ROOT, module));
  for (let file = waiting.pop(); file !== undefined; file = waiting.pop()) {
    if (reached.has(file)) continue;
    reached.add(file);
    waiting.push(...sourceOf(file).imports);
  }
  for (const module of alone) reached.add(join(ROOT, module));
  const hash = createHash('sha256').update(packagesVersion());
  for (const file of [...reached].sort()) hash.update(`${relative(ROOT, file)}\0${sourceOf(file).hash}\n`);
  const version = hash.digest('hex');
  versions.set(name, version);
  return version;
}

/** The same over all files below some folders, and single files. */
export function folderVersion(paths: readonly string[]): string {
  const hash = createHash('sha256').update(packagesVersion());
  for (const path of paths) {
    const full = join(ROOT, path);
    const files = statSync(full).isDirectory()
      ? readdirSync(full, { recursive: true, withFileTypes: true })
          .filter((entry) => entry.isFile())
          .map((entry) => join(entry.parentPath, entry.name))
      : [full];
    for (const file of files.sort())
      hash.update(relative(ROOT, file)).update('\0').update(readFileSync(file));
  }
  return hash.digest('hex');
}

function sourceOf(file: string): { readonly hash: string; readonly imports: readonly string[] } {
  const known = texts.get(file);
  if (known) return known;
  const text = readFileSync(file, 'utf8');
  const imports = /\.(ts|mjs)$/.test(file)
    ? [...text.matchAll(NAMED)]
        .map((match) => resolve(dirname(file), (match[1] ?? match[2])!))
        .filter((path) => /\.\w+$/.test(path) && existsSync(path))
    : [];
  const source = { hash: createHash('sha256').update(text).digest('hex'), imports };
  texts.set(file, source);
  return source;
}

/** Results may differ between versions of packages, of Node and of processors' arithmetic. */
function packagesVersion(): string {
  const lock = ['package-lock.json', 'package.json'].map((name) => join(ROOT, name)).find(existsSync)!;
  return `${createHash('sha256').update(readFileSync(lock)).digest('hex')} ${process.version} ${process.arch}\n`;
}
