/** Marks of lessons in the depth column: facts by hand. */
import { describe, expect, it } from 'vitest';
import { lessonHeights } from '../../../site/lib/lesson-heights.ts';
import type { PageStep, PageView } from '../../../site/lib/lesson-step.ts';

const view = (part: Partial<PageView>): PageView => ({
  ...{ scan: 'fine', title: 'Fine scan', zUm: 1, state: '#z=1', marks: [], hidden: false },
  ...part,
});
const step = (title: string, shown: PageView | null): PageStep => ({
  title,
  html: '',
  view: shown,
  questions: [],
});

describe('heights of lessons', () => {
  const lessons = [
    {
      slug: 'stack',
      title: 'The stack',
      steps: [
        step('Gates', view({ zUm: 0.4 })),
        step('Words only', null),
        step('Elsewhere', view({ scan: 'wide' })),
        step('Which layer?', view({ zUm: 4, hidden: true })),
        step('The top', view({ zUm: 5.5 })),
      ],
    },
  ];

  it('are those of the scan, with the number of the step in its lesson', () => {
    expect(lessonHeights(lessons, 'fine').map(({ zUm, number, path }) => [zUm, number, path])).toEqual([
      [0.4, 1, 'lessons/stack/#step-1'],
      [5.5, 5, 'lessons/stack/#step-5'],
    ]);
  });

  it('do not give away a layer that a step asks for', () => {
    expect(lessonHeights(lessons, 'fine').some(({ step }) => step === 'Which layer?')).toBe(false);
  });
});
