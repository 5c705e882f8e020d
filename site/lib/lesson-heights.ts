/** Where the steps of lessons lie in the depth of one scan. */
import type { PageStep } from './lesson-step.ts';

export interface LessonHeight {
  readonly zUm: number;
  /** "How a stack is built, step 3: The first wires". */
  readonly words: string;
  readonly lesson: string;
  readonly step: string;
  /** Number of the step in its lesson, from 1. */
  readonly number: number;
  /** Address below the site's top. */
  readonly path: string;
}

type Told = { readonly slug: string; readonly title: string; readonly steps: readonly PageStep[] };

/** Steps that show a height of the scan, in the order of the lessons. A step that hides its layer is not given away. */
export function lessonHeights(lessons: readonly Told[], scan: string): LessonHeight[] {
  return lessons.flatMap(({ slug, title, steps }) =>
    steps.flatMap(({ view, title: step }, n) =>
      view && view.scan === scan && !view.hidden
        ? [
            {
              zUm: view.zUm,
              words: `${title}, step ${n + 1}: ${step}`,
              lesson: title,
              step,
              number: n + 1,
              path: `lessons/${slug}/#step-${n + 1}`,
            },
          ]
        : [],
    ),
  );
}
