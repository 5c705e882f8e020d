/** "Find it yourself": a choice, a place to click, or a depth to go to, with what is said to each answer. */
import type { BlockContent, DefinitionContent, ListItem, RootContent } from 'mdast';
import type { ContainerDirective } from 'mdast-util-directive';
import type { Box } from '../polygon.ts';
import { Attributes, type LessonPlace, lessonFault, lineOf } from './attributes.ts';
import { isDirective, nodesOf } from './markdown.ts';

export type Answer =
  | {
      readonly kind: 'choice';
      readonly choices: readonly { readonly right: boolean; readonly nodes: readonly RootContent[] }[];
    }
  | {
      readonly kind: 'place';
      readonly atUm: readonly [number, number] | null;
      readonly withinUm: number;
      readonly boxUm: Box | null;
      /** On metal of this net; with `layer` on its shapes of that layer only. */
      readonly net: string | null;
      readonly layer: string | null;
    }
  | { readonly kind: 'depth'; readonly layer: string };

export interface Question {
  readonly line: number;
  readonly nodes: readonly RootContent[];
  readonly answer: Answer;
  readonly right: readonly RootContent[];
  readonly wrong: readonly RootContent[];
  readonly hint: readonly RootContent[];
}

const SAID = ['right', 'wrong', 'hint'] as const;
/** A place given as a point counts this far around it, where the lesson does not say. */
const WITHIN_UM = 0.3;

/** @throws InputFault with the line */
export function readQuestion(node: ContainerDirective, place: LessonPlace): Question {
  const a = new Attributes(node, ['at', 'within', 'box', 'net', 'layer'], place);
  const said: Record<(typeof SAID)[number], RootContent[]> = { right: [], wrong: [], hint: [] };
  const nodes: (BlockContent | DefinitionContent)[] = [];
  for (const child of node.children) {
    const part = child.type === 'containerDirective' ? SAID.find((name) => name === child.name) : undefined;
    if (part && child.type === 'containerDirective') {
      new Attributes(child, [], place);
      said[part].push(...child.children);
    } else nodes.push(child);
  }
  for (const inner of nodesOf({ children: [...nodes, ...Object.values(said).flat()] })) {
    if (isDirective(inner))
      throw lessonFault(
        place,
        lineOf(inner, place),
        `"right", "wrong" or "hint" inside a question`,
        `"${inner.name}"`,
        'Move it out of the question, or give the question more colons than what it holds.',
      );
  }
  const { answer, prompt } = readAnswer(a, nodes, place);
  if (prompt.length === 0) throw a.fault('the words of the question', 'none', 'Write what is asked.');
  if (said.right.length === 0)
    throw a.fault('":::right" in every question', 'none', 'Say what makes the answer right.');
  return { line: a.line, nodes: prompt, answer, ...said };
}

function readAnswer(
  a: Attributes,
  nodes: readonly RootContent[],
  place: LessonPlace,
): { answer: Answer; prompt: readonly RootContent[] } {
  const lists = nodes.filter(
    (node) => node.type === 'list' && node.children.some((item) => item.checked != null),
  );
  const ways = [a.has('at'), a.has('box'), a.has('net'), lists.length > 0].filter(Boolean).length;
  const depth = a.has('layer') && !a.has('net');
  if (ways + Number(depth) !== 1 || lists.length > 1)
    throw a.fault(
      'one way to answer: a list with [x] and [ ], or at=, box= or net= for a click, or layer= for a depth',
      ways + Number(depth) === 0 ? 'none' : 'several',
      'Give the question exactly one of them.',
    );
  if (a.has('within') && !a.has('at'))
    throw a.fault('within= beside at= only', 'within= alone', 'Take it out.');
  if (depth) return { answer: { kind: 'depth', layer: a.text('layer')! }, prompt: nodes };
  const list = lists[0];
  if (list?.type !== 'list') {
    const answer: Answer = {
      kind: 'place',
      atUm: a.point('at'),
      withinUm: a.length('within') ?? WITHIN_UM,
      boxUm: a.box('box'),
      net: a.text('net'),
      layer: a.text('layer'),
    };
    return { answer, prompt: nodes };
  }
  const choices = list.children.map((item: ListItem) => ({
    right: item.checked === true,
    nodes: item.children,
  }));
  const right = choices.filter((choice) => choice.right).length;
  if (right !== 1 || choices.length < 2)
    throw lessonFault(
      place,
      lineOf(list, place),
      'two or more choices, exactly one of them with [x]',
      `${choices.length} choices, ${right} of them with [x]`,
      'Correct the list.',
    );
  return { answer: { kind: 'choice', choices }, prompt: nodes.filter((node) => node !== list) };
}
