/** Lessons of a campaign: found, read before any long work begins, and laid out for the site generator. */
import { cp, readdir, readFile } from 'node:fs/promises';
import { basename, dirname, join, relative } from 'node:path';
import { glob } from 'tinyglobby';
import type { Campaign } from '../../../shared/artefacts/campaign.ts';
import { splitLesson } from '../../../shared/artefacts/lesson.ts';
import type { Process } from '../../../shared/artefacts/process.ts';
import { InputFault } from '../../../shared/errors.ts';
import { checkLesson, type LessonScan } from '../../../shared/lesson/check.ts';
import { readSteps } from '../../../shared/lesson/steps.ts';

const PICTURE = /\.(png|jpe?g|webp|gif|avif|svg)$/i;

/**
 * Files of the lessons glob, absolute, sorted.
 * @param accept is given all files that will be read and throws for those that may not be
 * @throws InputFault when none matches, two have one name, or one has no proper front matter
 */
export async function lessonFiles(
  campaignFolder: string,
  pattern: string | undefined,
  accept: (files: readonly string[]) => Promise<void> = async () => {},
): Promise<string[]> {
  if (pattern === undefined) return [];
  const found = await glob(pattern, { cwd: campaignFolder, absolute: true, expandDirectories: false });
  const fault = (expected: string, what: string) =>
    new InputFault({
      tag: 'missing-file',
      file: 'campaign.yaml',
      place: 'lessons',
      expected,
      found: what,
      remedy: 'Correct the pattern, or take the key out.',
    });
  if (found.length === 0) throw fault('Markdown files', `none that match "${pattern}"`);
  const names = found.map((file) => basename(file));
  const twice = names.find((name, n) => names.indexOf(name) < n);
  if (twice) throw fault('file names of their own', `"${twice}" in two folders`);
  await accept([...found, ...(await picturesBeside(found))]);
  for (const file of found) splitLesson(await readFile(file, 'utf8'), relative(campaignFolder, file));
  return found.sort();
}

/**
 * Checks what lessons say against what the campaign says by itself: scans and layers by name, and every directive.
 * Places and nets are checked by the same rules when the pages are made.
 * @throws InputFault with file and line
 */
export async function checkLessons(
  files: readonly string[],
  campaign: Campaign,
  process: Process | null,
): Promise<void> {
  const layers = (process?.layers ?? []).map(({ name }) => ({ name, bottomUm: null, topUm: null }));
  const unknown = { boxUm: null, fieldUm: null, zUm: null, nets: null, findings: null };
  const scans = campaign.scans.map(
    ({ id, volume }): LessonScan => ({ id, layers: volume ? layers : [], ...unknown }),
  );
  const first = campaign.scans.find((scan) => scan.volume)?.id ?? null;
  for (const path of files) {
    const file = basename(path);
    const { front, body, linesBefore } = splitLesson(await readFile(path, 'utf8'), file);
    const place = { file, linesBefore };
    checkLesson(readSteps(body, place), scans, front.scan ?? first, place);
  }
}

/** Copies the lessons and the pictures that lie beside them into one folder. */
export async function copyLessons(lessons: readonly string[], target: string): Promise<void> {
  for (const lesson of lessons) await cp(lesson, join(target, basename(lesson)));
  for (const folder of foldersOf(lessons)) {
    for (const name of await pictureNames(folder)) {
      // A link is copied as what it leads to: the folio goes elsewhere.
      await cp(join(folder, name), join(target, name), { dereference: true });
    }
  }
}

/** Every file that `copyLessons` copies, with its name in the folder it is copied to. */
export async function lessonContent(lessons: readonly string[]): Promise<{ file: string; name: string }[]> {
  const files = lessons.map((file) => ({ file, name: basename(file) }));
  for (const folder of foldersOf(lessons)) {
    for (const name of await pictureNames(folder)) files.push({ file: join(folder, name), name });
  }
  return files.sort((a, b) => (a.name < b.name ? -1 : 1));
}

const foldersOf = (lessons: readonly string[]): ReadonlySet<string> =>
  new Set(lessons.map((lesson) => dirname(lesson)));

const pictureNames = async (folder: string): Promise<string[]> =>
  (await readdir(folder, { recursive: true })).filter((name) => PICTURE.test(name));

async function picturesBeside(lessons: readonly string[]): Promise<string[]> {
  const pictures: string[] = [];
  for (const folder of foldersOf(lessons)) {
    for (const name of await pictureNames(folder)) pictures.push(join(folder, name));
  }
  return pictures;
}
