/**
 * Makes the pages of one folio by the program of a bundle. Started by the pipeline with variables set:
 *   STRATAFOLIO_BUNDLE    folder with the bundle
 *   STRATAFOLIO_DATA      folder with folio.json and one folder per scan
 *   STRATAFOLIO_LESSONS   folder with the prepared lessons; may be unset
 *   STRATAFOLIO_GLOSSARY  the campaign's own words; may be unset
 *   STRATAFOLIO_OUT       folder that receives pages and what they need
 */
import { cp, mkdir, readdir, readFile, writeFile } from 'node:fs/promises';
import { dirname, join, posix } from 'node:path';
import { pathToFileURL } from 'node:url';
import { withPolicy } from './content-policy.ts';
import { PROGRAM } from './keep-bundle.ts';
import { withPreloads } from './module-preloads.ts';
import { checkAddresses, relativise } from './relative-links.ts';

interface Program {
  eachPage(take: (path: string, content: Uint8Array) => Promise<void>): Promise<void>;
}

/** @throws InputFault when a hand-over file or a lesson is wrong */
export async function printPages(bundle: string, out: string): Promise<void> {
  const program = (await import(pathToFileURL(join(bundle, 'server', PROGRAM)).href)) as Program;
  const client = join(bundle, 'client');
  await cp(client, out, { recursive: true });
  const hasWasm = (await readdir(client, { recursive: true })).some((name) => name.endsWith('.wasm'));
  const scripts = new Map<string, Promise<string>>();
  const script = (path: string): Promise<string> => {
    const text = scripts.get(path) ?? readFile(join(client, path), 'utf8');
    scripts.set(path, text);
    return text;
  };
  await program.eachPage(async (path, content) => {
    let published: string | Uint8Array = content;
    if (path.endsWith('.html')) {
      const html = relativise(Buffer.from(content).toString('utf8'), path);
      const named = await withPreloads(html, (from) => script(posix.join(posix.dirname(path), from)));
      published = withPolicy(named, path, hasWasm);
    } else checkAddresses(content, path);
    await mkdir(dirname(join(out, path)), { recursive: true });
    await writeFile(join(out, path), published);
  });
}

const { STRATAFOLIO_BUNDLE: bundle, STRATAFOLIO_OUT: out } = process.env;
if (!bundle || !out) throw new Error('STRATAFOLIO_BUNDLE and STRATAFOLIO_OUT name the folders to work with.');
try {
  await printPages(bundle, out);
} catch (error) {
  // Whoever started this makes the same fault of its fields again.
  const { kind, fields } = error as { kind?: unknown; fields?: unknown };
  if (kind !== 'input') throw error;
  process.stdout.write(`${JSON.stringify({ fault: fields })}\n`);
  process.exitCode = 1;
}
