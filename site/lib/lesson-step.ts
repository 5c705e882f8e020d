/** A step of a lesson as its page needs it: HTML, an address of the viewer, marks and answers in die micrometres. */
import type { RootContent } from 'mdast';
import { type LessonPlace, lessonFault } from '../../shared/lesson/attributes.ts';
import type { Question } from '../../shared/lesson/question.ts';
import type { LessonStep, StepView } from '../../shared/lesson/steps.ts';
import { type Box, growBox, polygonBox } from '../../shared/polygon.ts';
import type { LessonWorld, WorldScan } from './lesson-world.ts';
import { encodeState } from './permalink.ts';

export interface PageView {
  readonly scan: string;
  readonly title: string;
  /** Height of the plate, micrometres. */
  readonly zUm: number;
  /** Fragment of the viewer's address. */
  readonly state: string;
  readonly marks: readonly PageMark[];
  readonly hidden: boolean;
}

export interface PageMark {
  readonly number: number;
  readonly words: string;
  /** A point is a box without size. */
  readonly boxUm: Box;
}

/** What is right: boxes and polygons with a reach, a range of heights, or the number of a choice. */
export type PageAnswer =
  | { readonly kind: 'choice'; readonly right: number }
  | { readonly kind: 'place'; readonly shapes: readonly (readonly number[])[]; readonly reachUm: number }
  | { readonly kind: 'depth'; readonly fromUm: number; readonly toUm: number };

export interface PageQuestion {
  readonly prompt: string;
  readonly choices: readonly string[];
  readonly answer: PageAnswer;
  readonly right: string;
  readonly wrong: string;
  readonly hint: string;
}

export interface PageStep {
  readonly title: string;
  readonly html: string;
  /** Null where the scan has no place on the die, so that nothing can be shown. */
  readonly view: PageView | null;
  readonly questions: readonly PageQuestion[];
}

type Render = (nodes: readonly RootContent[], headingShift?: number, linked?: boolean) => string;

/** A choice becomes a button, which holds words only: no paragraphs, no links. */
const wordsOf = (nodes: readonly RootContent[]): readonly RootContent[] =>
  nodes.flatMap((node) => (node.type === 'paragraph' ? node.children : [node]));

/** A click this near to a shape was meant for it. */
const REACH_UM = 0.12;
/** Shapes of a net that one question carries. */
const MOST_SHAPES = 400;

/**
 * @param number of the step in its lesson, from 0
 * @throws InputFault for a question that no click could answer
 */
export async function pageStep(
  step: LessonStep,
  number: number,
  world: LessonWorld,
  start: string | null,
  render: Render,
  place: LessonPlace,
): Promise<PageStep> {
  const wanted = step.view.scan ?? start;
  const scan = world.scans.find(({ artefacts }) => artefacts.scan.id === wanted) ?? null;
  // The step's own text comes first on the page, and so takes the first links to the glossary.
  const html = render(step.nodes, 2);
  const questions: PageQuestion[] = [];
  for (const question of step.questions) {
    const answer = await pageAnswer(question, scan, place);
    if (answer) questions.push(pageQuestion(question, answer, render));
  }
  return {
    title: step.title ?? `Step ${number + 1}`,
    html,
    view: scan && (await pageView(step, scan)),
    questions,
  };
}

/** Places mean nothing in a scan that has none on the die. */
const needsDie = ({ atUm, net }: StepView, marks: LessonStep['marks']): boolean =>
  atUm !== null || net !== null || marks.length > 0;

async function pageView({ view, marks }: LessonStep, scan: WorldScan): Promise<PageView | null> {
  const { artefacts } = scan;
  const { scan: entry, plates, layers, pictures } = artefacts;
  if (entry.frame !== 'die' && needsDie(view, marks)) return null;
  const layer = layers.layers.find((one) => one.name === view.layer);
  const zUm =
    view.zUm ?? (layer && heightOf(artefacts, layer)) ?? plates.z_um[Math.floor(plates.z_um.length / 2)]!;
  const net = view.net === null ? null : await scan.netPlace(view.net);
  const { grid } = plates;
  const hasDrawing = pictures?.layers.some((one) => one.render !== null) ?? false;
  const show = hasDrawing ? (view.show ?? 'both') : 'image';
  const centre = view.atUm ?? [
    grid.origin_um[0] + (grid.width_px * grid.pixel_um) / 2,
    grid.origin_um[1] - (grid.height_px * grid.pixel_um) / 2,
  ];
  return {
    scan: entry.id,
    title: entry.title,
    zUm,
    state: encodeState({
      zUm,
      xUm: centre[0]!,
      yUm: centre[1]!,
      widthUm: view.acrossUm ?? grid.width_px * grid.pixel_um,
      views: show,
      finding: view.finding ?? undefined,
      net: net ?? undefined,
    }),
    marks: marks.map(({ number, words, atUm, boxUm }) => ({
      number,
      words,
      boxUm: boxUm ?? [atUm![0], atUm![1], atUm![0], atUm![1]],
    })),
    hidden: view.hidden,
  };
}

/** The middle of a layer's plates; where none was labelled, of its heights, within the scan. */
function heightOf(
  artefacts: WorldScan['artefacts'],
  layer: { name: string; bottom_um: number; top_um: number },
): number {
  const own = artefacts.layers.plates.filter((plate) => plate.layer === layer.name);
  if (own.length > 0) return own[Math.floor(own.length / 2)]!.z_um;
  const z = artefacts.plates.z_um;
  const middle = (layer.bottom_um + layer.top_um) / 2;
  return Math.min(Math.max(...z), Math.max(Math.min(...z), middle));
}

async function pageAnswer(
  { answer, line }: Question,
  scan: WorldScan | null,
  place: LessonPlace,
): Promise<PageAnswer | null> {
  if (answer.kind === 'choice')
    return { kind: 'choice', right: answer.choices.findIndex((one) => one.right) };
  if (!scan) return null;
  if (answer.kind === 'depth') {
    const layer = scan.artefacts.layers.layers.find((one) => one.name === answer.layer);
    if (!layer) return null;
    const step = scan.artefacts.plates.step_um;
    return { kind: 'depth', fromUm: layer.bottom_um - step, toUm: layer.top_um + step };
  }
  if (scan.artefacts.scan.frame !== 'die') return null;
  if (answer.atUm) {
    const [x, y] = answer.atUm;
    return { kind: 'place', shapes: [[x, y, x, y]], reachUm: answer.withinUm };
  }
  if (answer.boxUm) return { kind: 'place', shapes: [[...answer.boxUm]], reachUm: REACH_UM };
  const shapes = await scan.netShapes(answer.net!, answer.layer);
  const field = growBox(polygonBox(scan.artefacts.scan.footprint_um.flat()), REACH_UM);
  const inside = shapes.filter((shape) => {
    const [x0, y0, x1, y1] = polygonBox(shape);
    return x1 >= field[0] && x0 <= field[2] && y1 >= field[1] && y0 <= field[3];
  });
  if (inside.length === 0 && (scan.artefacts.nets?.nets.length ?? 0) > 0) {
    throw lessonFault(
      place,
      line,
      `metal of "${answer.net}"${answer.layer === null ? '' : ` on ${answer.layer}`} in the field of the scan`,
      'none',
      'Choose another net or layer: as it stands, no answer would be right.',
    );
  }
  if (inside.length === 0) return null;
  return {
    kind: 'place',
    shapes: inside.slice(0, MOST_SHAPES).map((shape) => shape.map(rounded)),
    reachUm: REACH_UM,
  };
}

const rounded = (um: number): number => Number(um.toFixed(4));

function pageQuestion(question: Question, answer: PageAnswer, render: Render): PageQuestion {
  return {
    prompt: render(question.nodes, 2),
    choices:
      question.answer.kind === 'choice'
        ? question.answer.choices.map((one) => render(wordsOf(one.nodes), 2, false))
        : [],
    answer,
    right: render(question.right, 2),
    wrong: render(question.wrong, 2),
    hint: render(question.hint, 2),
  };
}
