/** Pages made by a kept program: the program is made once for a version, the pages are the same every time. */
import {
  appendFileSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  statSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest';
import { folderVersion } from '../../../pipeline/engine/source-version.ts';
import { buildSite } from '../../../pipeline/stages/publish/build-site.ts';
import { pageBundle } from '../../../pipeline/stages/publish/page-bundle.ts';
import { fileOfPage } from '../../../site/build/page-file.ts';
import { type MadeFolio, makeFolio } from '../../fixtures/folio/make-folio.ts';

vi.setConfig({ testTimeout: 120_000, hookTimeout: 120_000 });
const VERSION = folderVersion(['site', 'shared', 'astro.config.mjs']);

let work: string;
let made: MadeFolio;
let lessons: string[];
beforeAll(async () => {
  work = mkdtempSync(join(tmpdir(), 'page-bundle-'));
  made = await makeFolio(join(work, 'made'));
  lessons = readdirSync(made.lessons)
    .filter((name) => name.endsWith('.md'))
    .map((name) => join(made.lessons, name));
});
afterAll(() => rmSync(work, { recursive: true }));

const filesOf = (folder: string): Map<string, Buffer> =>
  new Map(
    readdirSync(folder, { recursive: true, withFileTypes: true })
      .filter((entry) => entry.isFile())
      .map((entry) => join(entry.parentPath, entry.name))
      .sort()
      .map((path) => [path.slice(folder.length + 1), readFileSync(path)]),
  );

async function pages(name: string, bundle: string): Promise<Map<string, Buffer>> {
  const out = join(work, name);
  mkdirSync(out);
  await buildSite({ bundle, data: made.data, lessons }, out, join(work, 'aside'));
  return filesOf(out);
}

describe('the program', () => {
  it('is made once, made again where a file of it is damaged, and gives the same pages then', async () => {
    const bundle = await pageBundle(VERSION);
    const before = filesOf(bundle);
    const { ino } = statSync(bundle);
    expect(await pageBundle(VERSION)).toBe(bundle);
    expect(statSync(bundle).ino).toBe(ino);
    const first = await pages('first', bundle);
    // Names that the generator would take from the environment (the test runner sets one) have no say.
    expect(process.env.BASE_URL).toBe('/');
    const front = first.get('index.html')?.toString();
    expect(front).toContain('href="./glossary/"');
    expect(front).not.toContain('href="/');

    const damaged = [...before.keys()].find((path) => path.endsWith('.css'))!;
    writeFileSync(join(bundle, damaged), 'x');
    expect(await pageBundle(VERSION)).toBe(bundle);
    expect(statSync(bundle).ino).not.toBe(ino);
    const after = filesOf(bundle);
    expect([...after.keys()]).toEqual([...before.keys()]);
    for (const [path, bytes] of before)
      if (path.startsWith('client/')) expect(after.get(path), path).toEqual(bytes);
    expect(await pages('second', bundle)).toEqual(first);
    // Nothing half-made stays.
    expect(readdirSync(join(bundle, '..')).filter((name) => /half-made|old/.test(name))).toEqual([]);
  });

  it('reads a lesson anew each time: only its page and the search change with it', async () => {
    const bundle = await pageBundle(VERSION);
    const before = filesOf(join(work, 'first'));
    appendFileSync(join(made.lessons, 'stack.md'), '\n\nA sentence more than before.\n');
    const after = await pages('changed', bundle);
    const changed = [...after].filter(([path, bytes]) => !before.get(path)?.equals(bytes)).map(([p]) => p);
    expect(changed).toContain('lessons/stack/index.html');
    expect(changed.filter((path) => !/^(lessons\/stack|search)\//.test(path))).toEqual([]);
  });

  it('names file and line of a faulty lesson', async () => {
    const bundle = await pageBundle(VERSION);
    writeFileSync(join(made.lessons, 'stack.md'), '---\ntitle: Stack\n---\n\nText $\\frac{1$.\n');
    await expect(pages('faulty', bundle)).rejects.toMatchObject({
      kind: 'input',
      fields: { tag: 'malformed', file: 'stack.md', place: 'line 5' },
    });
    expect(readdirSync(join(work, 'aside'))).toEqual([]);
  });
});

describe('a page', () => {
  it('has a folder of its own, a file has its path', () => {
    expect(fileOfPage('/', 'page')).toBe('index.html');
    expect(fileOfPage('', 'page')).toBe('index.html');
    expect(fileOfPage('/404', 'page')).toBe('404.html');
    expect(fileOfPage('/scan/fine/', 'page')).toBe('scan/fine/index.html');
    expect(fileOfPage('/search/pages.json', 'endpoint')).toBe('search/pages.json');
  });
});
