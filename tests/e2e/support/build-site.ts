/** Builds the test folio's site once: artefacts, pages, and the data laid beside them. */
import { cpSync, mkdirSync, readdirSync, rmSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { folderVersion } from '../../../pipeline/engine/source-version.ts';
import { buildSite as printSite } from '../../../pipeline/stages/publish/build-site.ts';
import { pageBundle } from '../../../pipeline/stages/publish/page-bundle.ts';
import { type MadeFolio, makeFolio } from '../../fixtures/folio/make-folio.ts';

const REPO = resolve(import.meta.dirname, '../../..');
export const WORK = join(REPO, 'tests/.work/e2e');

/**
 * @param change what to do to the artefacts and lessons before the pages are made
 * @returns folder of the finished folio
 */
export async function buildSite(work = WORK, change: (made: MadeFolio) => void = () => {}): Promise<string> {
  const made = await makeFolio(join(work, 'artefacts'));
  change(made);
  const out = join(work, 'folio');
  rmSync(out, { recursive: true, force: true });
  mkdirSync(out, { recursive: true });
  const bundle = await pageBundle(folderVersion(['site', 'shared', 'astro.config.mjs']));
  const lessons = readdirSync(made.lessons)
    .filter((name) => name.endsWith('.md'))
    .map((name) => join(made.lessons, name));
  await printSite({ bundle, data: made.data, lessons }, out, join(work, 'aside'));
  cpSync(made.data, join(out, 'data'), { recursive: true });
  return out;
}
