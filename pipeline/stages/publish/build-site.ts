/** Runs the site generator over the finished data. The two share nothing but the artefacts and their schemas. */
import { spawn } from 'node:child_process';
import { cp, mkdir, mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { basename, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { glob } from 'tinyglobby';
import { InputFault, InterruptedFault } from '../../../shared/errors.ts';
import { diskFault } from '../../output/files.ts';

const ROOT = fileURLToPath(new URL('../../../', import.meta.url));

/** Files of the lessons glob, absolute, sorted. */
export async function lessonFiles(campaignFolder: string, pattern: string | undefined): Promise<string[]> {
  if (pattern === undefined) return [];
  const found = await glob(pattern, { cwd: campaignFolder, absolute: true, expandDirectories: false });
  if (found.length === 0) {
    throw new InputFault({
      tag: 'missing-file',
      file: 'campaign.yaml',
      place: 'lessons',
      expected: 'Markdown files',
      found: `none that match "${pattern}"`,
      remedy: 'Correct the pattern, or take the key out.',
    });
  }
  return found.sort();
}

/**
 * Builds the pages into `folder`, which already holds `data/`.
 * @throws Error with the generator's last words when it fails
 */
export async function buildSite(
  folder: string,
  lessons: readonly string[],
  signal?: AbortSignal,
): Promise<void> {
  const work = await mkdtemp(join(tmpdir(), 'stratafolio-site-'));
  try {
    const lessonFolder = join(work, 'lessons');
    const pages = join(work, 'pages');
    await mkdir(lessonFolder);
    for (const lesson of lessons) await cp(lesson, join(lessonFolder, basename(lesson)));
    await runGenerator(
      {
        STRATAFOLIO_DATA: join(folder, 'data'),
        STRATAFOLIO_LESSONS: lessonFolder,
        STRATAFOLIO_OUT: pages,
        ASTRO_TELEMETRY_DISABLED: '1',
      },
      signal,
    );
    await cp(pages, folder, { recursive: true }).catch((error) => {
      throw diskFault(error, folder);
    });
  } finally {
    await rm(work, { recursive: true, force: true });
  }
}

function runGenerator(variables: Record<string, string>, signal?: AbortSignal): Promise<void> {
  const astro = join(ROOT, 'node_modules', 'astro', 'bin', 'astro.mjs');
  return new Promise((resolve, reject) => {
    const child = spawn(process.execPath, [astro, 'build', '--root', ROOT], {
      cwd: ROOT,
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
      else reject(new Error(`The site could not be generated (exit ${code}).\n${said}`));
    });
  });
}
