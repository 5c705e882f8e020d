/** Runs the site generator over the finished data. The two share nothing but the artefacts and their schemas. */
import { spawn } from 'node:child_process';
import { cp, mkdir, mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { InputFault, InterruptedFault } from '../../../shared/errors.ts';
import { diskFault } from '../../output/files.ts';
import { copyLessons } from './lessons.ts';

const ROOT = fileURLToPath(new URL('../../../', import.meta.url));

/**
 * Builds the pages.
 * @param data finished data of the folio
 * @param folder that receives the pages
 * @param glossary file with the campaign's own words, if it has one
 * @throws InputFault when the generator names a fault of a lesson; Error with its last words when it fails otherwise
 */
export async function buildSite(
  data: string,
  folder: string,
  lessons: readonly string[],
  signal?: AbortSignal,
  glossary?: string | null,
): Promise<void> {
  const work = await mkdtemp(join(tmpdir(), 'stratafolio-site-'));
  // The generator keeps half-made modules below the folder it is started in, where our libraries are found from: two
  // builds at the same time need one each.
  await mkdir(join(ROOT, '.astro'), { recursive: true });
  const start = await mkdtemp(join(ROOT, '.astro', 'build-'));
  try {
    const lessonFolder = join(work, 'lessons');
    const pages = join(work, 'pages');
    await mkdir(lessonFolder);
    await copyLessons(lessons, lessonFolder);
    await runGenerator(
      {
        STRATAFOLIO_DATA: data,
        STRATAFOLIO_LESSONS: lessonFolder,
        STRATAFOLIO_OUT: pages,
        ...(glossary ? { STRATAFOLIO_GLOSSARY: glossary } : {}),
        ASTRO_TELEMETRY_DISABLED: '1',
      },
      start,
      signal,
    );
    await cp(pages, folder, { recursive: true }).catch((error) => {
      throw diskFault(error, folder);
    });
  } finally {
    for (const folder of [work, start]) await rm(folder, { recursive: true, force: true });
  }
}

function runGenerator(variables: Record<string, string>, cwd: string, signal?: AbortSignal): Promise<void> {
  const astro = join(ROOT, 'node_modules', 'astro', 'bin', 'astro.mjs');
  return new Promise((resolve, reject) => {
    const child = spawn(process.execPath, [astro, 'build', '--root', ROOT], {
      cwd,
      env: { ...process.env, NODE_ENV: 'production', ...variables },
      stdio: ['ignore', 'pipe', 'pipe'],
      ...(signal ? { signal } : {}),
    });
    let said = '';
    const keep = (chunk: Buffer) => {
      said = (said + chunk.toString()).slice(-8000);
    };
    child.stdout.on('data', keep);
    child.stderr.on('data', keep);
    child.on('error', (error) => reject(error.name === 'AbortError' ? new InterruptedFault() : error));
    child.on('close', (code) => {
      if (code === 0) resolve();
      else if (signal?.aborted) reject(new InterruptedFault());
      else reject(lessonFault(said) ?? new Error(`The site could not be generated (exit ${code}).\n${said}`));
    });
  });
}

/** The generator runs apart from us; a fault of a lesson reaches us as the words of an InputFault. */
function lessonFault(said: string): InputFault | null {
  const words = /^(.+\.md), (.+?): expected (.+), found (.+)\n\s*What to do: (.+)$/m.exec(said);
  if (!words) return null;
  const [, file, place, expected, found, remedy] = words as unknown as [
    string,
    string,
    string,
    string,
    string,
    string,
  ];
  return new InputFault({ tag: 'inconsistent', file, place, expected, found, remedy });
}
