/** Builds the test folio's site once: artefacts, pages, and the data laid beside them. */
import { execFileSync } from 'node:child_process';
import { cpSync, rmSync } from 'node:fs';
import { join, resolve } from 'node:path';
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
  try {
    execFileSync(process.execPath, [join(REPO, 'node_modules/astro/bin/astro.mjs'), 'build'], {
      cwd: REPO,
      stdio: 'pipe',
      env: {
        ...process.env,
        ASTRO_TELEMETRY_DISABLED: '1',
        STRATAFOLIO_DATA: made.data,
        STRATAFOLIO_LESSONS: made.lessons,
        STRATAFOLIO_OUT: out,
      },
    });
  } catch (error) {
    const { stdout, stderr } = error as { stdout: Buffer; stderr: Buffer };
    throw new Error(`The site did not build.\n${stdout}\n${stderr}`, { cause: error });
  }
  cpSync(made.data, join(out, 'data'), { recursive: true });
  return out;
}
