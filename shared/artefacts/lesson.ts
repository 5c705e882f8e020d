/** A lesson: Markdown with YAML front matter. */
import { z } from 'zod';
import { InputFault } from '../errors.ts';
import { readYaml } from './read.ts';

export const lessonFrontSchema = z.looseObject({
  title: z.string().min(1),
  order: z.number().optional().describe('Place among the lessons; without it, after those that have one.'),
  summary: z.string().optional(),
  scan: z.string().optional().describe('Scan of the steps that name none; without it, the first volume.'),
});

export interface LessonText {
  readonly front: z.output<typeof lessonFrontSchema>;
  /** Markdown after the front matter. */
  readonly body: string;
  /** Lines of the file before the body. */
  readonly linesBefore: number;
}

/** @throws InputFault with file and line when the front matter is missing or wrong */
export function splitLesson(text: string, file: string): LessonText {
  const parts = /^\uFEFF?---\r?\n([\s\S]*?)\r?\n---[ \t]*(?:\r?\n|$)/.exec(text);
  if (!parts) {
    throw new InputFault({
      tag: 'malformed',
      file,
      place: 'line 1',
      expected: 'front matter between two lines of "---", with a title',
      found: JSON.stringify(text.slice(0, 40)),
      remedy: 'Begin the lesson with "---", "title: ...", "---".',
    });
  }
  // One empty line stands for the opening "---", so that a fault names the line of the file itself.
  const front = readYaml(`\n${parts[1]}`, file, lessonFrontSchema);
  return {
    front,
    body: text.slice(parts[0].length),
    linesBefore: parts[0].split('\n').length - 1,
  };
}
