/** Lessons: Markdown files with a title and an order in their front matter. */
import { readdir, readFile, stat } from 'node:fs/promises';
import { join, normalize } from 'node:path';
import { splitLesson } from '../../shared/artefacts/lesson.ts';
import { InputFault } from '../../shared/errors.ts';
import { picturesOf, renderMarkdown } from './markdown.ts';

export interface Lesson {
  readonly slug: string;
  readonly title: string;
  readonly order: number;
  readonly summary: string | null;
  readonly html: string;
  /** Pictures beside the file, relative to the lessons folder. */
  readonly pictures: readonly string[];
}

/** Lessons in reading order; none where no folder is given. @throws InputFault with file and line */
export async function loadLessons(folder: string | undefined): Promise<Lesson[]> {
  if (!folder) return [];
  const names = (await readdir(folder)).filter((name) => name.endsWith('.md')).sort();
  const lessons: Lesson[] = [];
  for (const name of names) lessons.push(await readLesson(folder, name));
  return lessons.sort((a, b) => a.order - b.order || a.slug.localeCompare(b.slug));
}

export const lessonSlug = (name: string): string =>
  name
    .replace(/\.md$/, '')
    .toLowerCase()
    .replace(/[^a-z0-9]+/g, '-')
    .replace(/^-|-$/g, '') || 'lesson';

async function readLesson(folder: string, name: string): Promise<Lesson> {
  const text = await readFile(join(folder, name), 'utf8');
  const { front, body } = splitLesson(text, name);
  const pictures = picturesOf(body).map((path) => normalize(path));
  for (const path of pictures) {
    const found = path.startsWith('..') ? null : await stat(join(folder, path)).catch(() => null);
    if (!found?.isFile()) {
      throw new InputFault({
        tag: 'missing-file',
        file: name,
        place: `picture ${path}`,
        expected: 'a file inside the folder of the lessons',
        found: 'no such file',
        remedy: 'Put the picture beside the lesson, or correct its path.',
      });
    }
  }
  return {
    slug: lessonSlug(name),
    title: front.title,
    order: front.order ?? Infinity,
    summary: front.summary ?? null,
    html: renderMarkdown(body),
    pictures,
  };
}
