/** The pages, generated anew where anything they show has changed. */
import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import type { BuildOptions } from '../build-options.ts';
import { folderVersion } from '../engine/source-version.ts';
import { buildSite } from '../stages/publish/build-site.ts';
import { lessonContent } from '../stages/publish/lessons.ts';
import { folioFiles, sha256 } from '../stages/publish/manifest.ts';
import { pageBundle } from '../stages/publish/page-bundle.ts';
import type { BuildSteps } from './steps.ts';

/** What the bundle of the pages is made of. */
const SITE_CODE = ['site', 'shared', 'astro.config.mjs'];
const OWN_CODE = ['lessons', 'build-site'].map((name) => `pipeline/stages/publish/${name}.ts`);
/** Pictures are named in pages, not read by them. */
const PICTURES = /\/(plates|portraits|renders|brick)$/;

export async function buildPages(
  steps: BuildSteps,
  lessons: readonly string[],
  glossary: string | null,
  options: BuildOptions,
): Promise<void> {
  const { staging } = steps;
  const data = join(staging, 'data');
  const shown = await folioFiles(data, (path) => !PICTURES.test(path));
  const sums: [string, string][] = [];
  for (const path of shown) {
    const known = steps.sums.get(`data/${path}`);
    sums.push([path, known?.sha256 ?? (await sha256(join(data, path)))]);
  }
  const texts: [string, Uint8Array][] = [];
  for (const { file, name } of await lessonContent(lessons)) texts.push([name, await readFile(file)]);
  if (glossary) texts.push(['glossary', await readFile(glossary)]);
  const generator = folderVersion(SITE_CODE);
  await steps.run(
    {
      ...{ name: 'pages', stage: 'pages', code: OWN_CODE },
      input: { generator, sums, texts },
    },
    staging,
    async ({ files, aside }) => {
      options.progress.line('pages                  being generated');
      const bundle = await pageBundle(generator, options.force, options.signal);
      await buildSite({ bundle, data, lessons, glossary }, files, aside, options.signal);
    },
  );
}
