/** Makes the pages of a folio over its finished data, by the program of a bundle. */
import { mkdir, rm } from 'node:fs/promises';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { InputFault, type InputFaultFields } from '../../../shared/errors.ts';
import { diskFault } from '../../output/files.ts';
import { copyLessons } from './lessons.ts';
import { runNode } from './run-node.ts';

const ROOT = fileURLToPath(new URL('../../../', import.meta.url));

export interface SiteSources {
  /** Folder of the bundle. */
  readonly bundle: string;
  /** Finished data of the folio. */
  readonly data: string;
  readonly lessons: readonly string[];
  /** File with the campaign's own words, if it has one. */
  readonly glossary?: string | null;
}

/**
 * @param folder that receives the pages and what they need
 * @param work folder for what is needed meanwhile; emptied again
 * @throws InputFault for a fault of a lesson or of the campaign's words; Error with the last words otherwise
 */
export async function buildSite(
  sources: SiteSources,
  folder: string,
  work: string,
  signal?: AbortSignal,
): Promise<void> {
  const lessons = join(work, 'lessons');
  try {
    await mkdir(lessons, { recursive: true });
    await copyLessons(sources.lessons, lessons);
    const { code, words } = await runNode(
      [join(ROOT, 'site', 'build', 'print-pages.ts')],
      {
        STRATAFOLIO_BUNDLE: sources.bundle,
        STRATAFOLIO_DATA: sources.data,
        STRATAFOLIO_LESSONS: lessons,
        STRATAFOLIO_OUT: folder,
        ...(sources.glossary ? { STRATAFOLIO_GLOSSARY: sources.glossary } : {}),
      },
      ROOT,
      signal,
    );
    if (code !== 0) {
      throw (
        saidFault(words) ??
        diskFault(new Error(`The pages could not be made (exit ${code}).\n${words}`), folder)
      );
    }
  } finally {
    await rm(lessons, { recursive: true, force: true });
  }
}

/** A fault of what persons wrote reaches us by its fields; a wrong hand-over file is our own fault. */
function saidFault(words: string): InputFault | null {
  const line = /^\{"fault":.*\}$/m.exec(words)?.[0];
  if (!line) return null;
  const { fault } = JSON.parse(line) as { fault: InputFaultFields };
  return fault.file.endsWith('.md') ? new InputFault(fault) : null;
}
