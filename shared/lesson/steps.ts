/**
 * A lesson's text, taken apart: an opening, steps with the view each of them shows, questions, a closing. The
 * directives and their attributes are the manual of DEVELOPERS.md; lengths are die micrometres.
 */
import type { RootContent } from 'mdast';
import type { ContainerDirective } from 'mdast-util-directive';
import type { Box } from '../polygon.ts';
import { Attributes, type LessonPlace, lessonFault, lineOf } from './attributes.ts';
import { type Directive, isDirective, nodesOf, parseMarkdown, plainText } from './markdown.ts';
import { type Question, readQuestion } from './question.ts';

/** How image and drawing stand: side by side, alone, or one over the other. */
const SHOWN = ['both', 'image', 'drawing', 'wipe', 'blend'] as const;

/** What the viewer beside a step shows; null leaves it as it was, or as it opens. */
export interface StepView {
  readonly line: number;
  readonly scan: string | null;
  readonly atUm: readonly [number, number] | null;
  /** Width of the view, micrometres. */
  readonly acrossUm: number | null;
  readonly layer: string | null;
  readonly zUm: number | null;
  readonly show: (typeof SHOWN)[number] | null;
  /** A net that is lit. */
  readonly net: string | null;
  /** A finding that is open. */
  readonly finding: string | null;
  /** Whether the names of layers are left out of the viewer, because the step asks for one. */
  readonly hidden: boolean;
}

/** A numbered place in the picture that the text points at. */
export interface LessonMark {
  readonly line: number;
  readonly number: number;
  readonly words: string;
  readonly atUm: readonly [number, number] | null;
  readonly boxUm: Box | null;
}

export interface LessonStep {
  readonly line: number;
  readonly title: string | null;
  readonly view: StepView;
  readonly marks: readonly LessonMark[];
  readonly nodes: readonly RootContent[];
  readonly questions: readonly Question[];
}

export interface LessonSteps {
  readonly opening: readonly RootContent[];
  readonly steps: readonly LessonStep[];
  readonly closing: readonly RootContent[];
}

const STEP_KEYS = ['scan', 'at', 'across', 'layer', 'z', 'show', 'net', 'finding', 'names'];
const OUTER = ['step'];
const INNER = ['mark', 'question', 'right', 'wrong', 'hint'];

/**
 * @param body Markdown after the front matter
 * @throws InputFault with file and line for a directive that is not known, misplaced or not sound
 */
export function readSteps(body: string, place: LessonPlace): LessonSteps {
  const tree = parseMarkdown(body);
  const opening: RootContent[] = [];
  const closing: RootContent[] = [];
  const steps: LessonStep[] = [];
  for (const node of tree.children) {
    if (node.type === 'containerDirective' && node.name === 'step') {
      if (closing.length > 0) {
        throw lessonFault(
          place,
          lineOf(closing[0]!, place),
          'steps one after the other, with text before the first or after the last only',
          'text between two steps',
          'Move the text into a step.',
        );
      }
      steps.push(readStep(node, place));
      continue;
    }
    if (isDirective(node)) throw unknownDirective(node, place, OUTER);
    for (const inner of nodesOf(node)) {
      if (isDirective(inner)) throw unknownDirective(inner, place, OUTER);
    }
    (steps.length === 0 ? opening : closing).push(node);
  }
  return { opening, steps, closing };
}

function readStep(node: ContainerDirective, place: LessonPlace): LessonStep {
  const a = new Attributes(node, STEP_KEYS, place);
  if (a.has('layer') && a.has('z')) throw a.fault('a layer or a height z', 'both', 'Keep one of the two.');
  const view: StepView = {
    line: a.line,
    scan: a.text('scan'),
    atUm: a.point('at'),
    acrossUm: a.length('across'),
    layer: a.text('layer'),
    zUm: a.height('z'),
    show: a.oneOf('show', SHOWN),
    net: a.text('net'),
    finding: a.text('finding'),
    hidden: a.oneOf('names', ['shown', 'hidden']) === 'hidden',
  };
  const questions: Question[] = [];
  const nodes: RootContent[] = [];
  let title: string | null = null;
  for (const child of node.children) {
    if (child.type === 'heading' && title === null && nodes.length === 0) title = plainText(child);
    else if (child.type === 'containerDirective' && child.name === 'question')
      questions.push(readQuestion(child, place));
    else nodes.push(child);
  }
  return { line: a.line, title, view, marks: readMarks(nodes, place), nodes, questions };
}

/** Numbers the marks of a step in the order of the text; each node keeps its number for the page. */
function readMarks(nodes: readonly RootContent[], place: LessonPlace): LessonMark[] {
  const marks: LessonMark[] = [];
  for (const node of nodesOf({ children: nodes })) {
    if (!isDirective(node)) continue;
    if (node.name !== 'mark' || node.type === 'containerDirective')
      throw unknownDirective(node, place, INNER);
    const a = new Attributes(node, ['at', 'box'], place);
    const [atUm, boxUm] = [a.point('at'), a.box('box')];
    if ((atUm === null) === (boxUm === null))
      throw a.fault(
        'a mark with at="x,y" or with box="x0,y0,x1,y1"',
        atUm ? 'both' : 'neither',
        'Give one of the two.',
      );
    const words = plainText(node).trim();
    if (words === '')
      throw a.fault('words in the brackets of a mark', 'none', 'Write :mark[words]{at="x,y"}.');
    const number = marks.length + 1;
    marks.push({ line: a.line, number, words, atUm, boxUm });
    node.data = { ...node.data, hProperties: { dataMark: String(number) } };
  }
  return marks;
}

export function unknownDirective(node: Directive, place: LessonPlace, here: readonly string[]) {
  const known = [...OUTER, ...INNER].includes(node.name);
  return lessonFault(
    place,
    lineOf(node, place),
    known ? `"${node.name}" in its place: a step holds marks and questions` : `one of ${here.join(', ')}`,
    `"${node.name}"`,
    known
      ? 'A container that holds others needs more colons than they have (::::step around :::question).'
      : 'Correct the name, or put a backslash before the colon.',
  );
}
