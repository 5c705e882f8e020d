/** Lessons: Markdown files with a title in their front matter; steps with a view, marks and questions. */
import { readdir, readFile, stat } from 'node:fs/promises';
import { join, normalize } from 'node:path';
import { splitLesson } from '../../shared/artefacts/lesson.ts';
import { InputFault } from '../../shared/errors.ts';
import type { LessonPlace } from '../../shared/lesson/attributes.ts';
import { checkLesson } from '../../shared/lesson/check.ts';
import { readSteps } from '../../shared/lesson/steps.ts';
import type { Term } from './glossary.ts';
import { type PageStep, pageStep } from './lesson-step.ts';
import { defaultScan, type LessonWorld } from './lesson-world.ts';
import { picturesOf, renderNodes } from './markdown.ts';

export interface Lesson {
  readonly slug: string;
  readonly title: string;
  readonly order: number;
  readonly summary: string | null;
  /** Text before the steps; the whole lesson where it has none. */
  readonly opening: string;
  readonly steps: readonly PageStep[];
  readonly closing: string;
  /** Pictures beside the file, relative to the lessons folder. */
  readonly pictures: readonly string[];
}

export interface LessonSources {
  /** Folder of the lessons; none where the campaign has none. */
  readonly folder: string | undefined;
  readonly world: LessonWorld;
  readonly terms: readonly Term[];
  /** Address of the site's top, as pages write it. */
  readonly root: string;
}

/** Lessons in reading order. @throws InputFault with file and line */
export async function loadLessons(sources: LessonSources): Promise<Lesson[]> {
  const { folder } = sources;
  if (!folder) return [];
  const names = (await readdir(folder)).filter((name) => name.endsWith('.md')).sort();
  const lessons: Lesson[] = [];
  for (const name of names) lessons.push(await readLesson(folder, name, sources));
  return lessons.sort((a, b) => a.order - b.order || a.slug.localeCompare(b.slug));
}

export const lessonSlug = (name: string): string =>
  name
    .replace(/\.md$/, '')
    .toLowerCase()
    .replace(/[^a-z0-9]+/g, '-')
    .replace(/^-|-$/g, '') || 'lesson';

async function readLesson(folder: string, name: string, sources: LessonSources): Promise<Lesson> {
  const text = await readFile(join(folder, name), 'utf8');
  const { front, body, linesBefore } = splitLesson(text, name);
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
  const place: LessonPlace = { file: name, linesBefore };
  const { opening, steps, closing } = readSteps(body, place);
  const { world, terms, root } = sources;
  const start = front.scan ?? defaultScan(world);
  const known = await Promise.all(
    world.scans.map((scan) => scan.known(steps.some((step) => namesNets(step)))),
  );
  if (front.scan !== undefined || steps.length > 0)
    checkLesson({ opening, steps, closing }, known, start, place);
  // A term is linked once in what is read together: in a step with its questions, in the opening, in the closing.
  let seen = new Set<string>();
  const render = (nodes: typeof opening, headingShift = 1, linked = true): string =>
    renderNodes(nodes, {
      headingShift,
      links: linked ? { terms, address: `${root}glossary/`, seen } : undefined,
      onFault: (reason, line) => {
        throw new InputFault({
          tag: 'malformed',
          file: name,
          place: `line ${line + linesBefore}`,
          expected: 'mathematics as TeX writes it',
          found: reason.replace(/\s+/g, ' ').trim(),
          remedy: 'Correct the formula, or write \\$ for a dollar sign.',
        });
      },
    });
  const pageSteps: PageStep[] = [];
  for (const [n, step] of steps.entries()) {
    seen = new Set();
    pageSteps.push(await pageStep(step, n, world, start, render, place));
  }
  seen = new Set();
  return {
    slug: lessonSlug(name),
    title: front.title,
    order: front.order ?? Infinity,
    summary: front.summary ?? null,
    opening: render(opening),
    steps: pageSteps,
    closing: render(closing),
    pictures,
  };
}

const namesNets = (step: ReturnType<typeof readSteps>['steps'][number]): boolean =>
  step.view.net !== null ||
  step.questions.some(({ answer }) => answer.kind === 'place' && answer.net !== null);
