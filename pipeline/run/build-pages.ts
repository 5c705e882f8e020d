/** The pages, generated anew where anything they show has changed. */
import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import type { BuildOptions } from '../build-options.ts';
import { folderVersion } from '../engine/source-version.ts';
import { buildSite } from '../stages/publish/build-site.ts';
import { lessonContent } from '../stages/publish/lessons.ts';
import { folioFiles, sha256 } from '../stages/publish/manifest.ts';
import type { BuildSteps } from './steps.ts';

/** What the site generator reads of its own. */
const SITE_CODE = ['site', 'shared', 'astro.config.mjs', 'pipeline/stages/publish/build-site.ts'];
/** Pictures are named in pages, not read by them. */
const PICTURES = /\/(plates|portraits|renders|brick)\//;

export async function buildPages(
  steps: BuildSteps,
  lessons: readonly string[],
  glossary: string | null,
  options: BuildOptions,
): Promise<void> {
  const { staging } = steps;
  const data = join(staging, 'data');
  const shown = (await folioFiles(data)).filter((path) => !PICTURES.test(`/${path}`));
  const sums: [string, string][] = [];
  for (const path of shown) {
    const known = steps.sums.get(`data/${path}`);
    sums.push([path, known?.sha256 ?? (await sha256(join(data, path)))]);
  }
  const texts: [string, Uint8Array][] = [];
  for (const { file, name } of await lessonContent(lessons)) texts.push([name, await readFile(file)]);
  if (glossary) texts.push(['glossary', await readFile(glossary)]);
  await steps.run(
    {
      ...{ name: 'pages', stage: 'pages', code: ['pipeline/stages/publish/lessons.ts'] },
      input: { generator: folderVersion(SITE_CODE), sums, texts },
    },
    staging,
    ({ files }) => {
      options.progress.line('pages                  being generated');
      return buildSite(data, files, lessons, options.signal, glossary);
    },
  );
}
