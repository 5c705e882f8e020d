/** A reading: something measured by a reader in the browser, with how it came about. */
import type { Readings } from '../../../shared/artefacts/readings.ts';

export type Reading = Readings['readings'][number];
export type ReadingKind = Reading['kind'];
export type ReadingValue = Reading['values'][number];
export type PointUm = Reading['points_um'][number];

/** What a reading is made from: enough to measure it again. */
export type ReadingInput = Pick<Reading, 'kind' | 'points_um' | 'average_um' | 'pointing_um'>;

export interface Tool {
  readonly kind: ReadingKind;
  /** On its button. */
  readonly name: string;
  /** What a reader is asked to do. */
  readonly ask: string;
  /** Points that make a reading; areas take any number from three on. */
  readonly points: 1 | 2 | 3 | 'many';
  /** Whether greys are averaged across the path. */
  readonly averages: boolean;
  /** On a plate, or in the vertical section. */
  readonly where: 'plate' | 'section';
}

export const TOOLS: readonly Tool[] = [
  {
    ...{ kind: 'width', name: 'Width', points: 2, averages: true, where: 'plate' },
    ask: 'Put two points: one on the ground at either side of a line. Its two edges are found in between.',
  },
  {
    ...{ kind: 'space', name: 'Space', points: 2, averages: true, where: 'plate' },
    ask: 'Put two points: one in each of two neighbouring lines. The edges that face each other are found.',
  },
  {
    ...{ kind: 'pitch', name: 'Pitch', points: 2, averages: true, where: 'plate' },
    ask: 'Put two points so that the path between them crosses several equal lines.',
  },
  {
    ...{ kind: 'via', name: 'Via size', points: 2, averages: false, where: 'plate' },
    ask: 'Put two points: opposite corners of a box round one via, with some ground on all sides.',
  },
  {
    ...{ kind: 'distance', name: 'Distance', points: 2, averages: false, where: 'plate' },
    ask: 'Put two points. Their distance is as good as your hand: no edge is looked for.',
  },
  {
    ...{ kind: 'angle', name: 'Angle', points: 3, averages: false, where: 'plate' },
    ask: 'Put three points: the end of one arm, the corner, the end of the other arm.',
  },
  {
    ...{ kind: 'area', name: 'Area', points: 'many', averages: false, where: 'plate' },
    ask: 'Put the corners one after the other, then the first one again, or press “Close the outline”.',
  },
  {
    ...{ kind: 'profile', name: 'Grey profile', points: 2, averages: true, where: 'plate' },
    ask: 'Put two points. The greys along the path between them are drawn.',
  },
  {
    ...{ kind: 'thickness', name: 'Thickness', points: 1, averages: true, where: 'section' },
    ask: 'Put one point inside a layer of the section. Its lower and upper face are found there.',
  },
  {
    ...{ kind: 'height', name: 'Height difference', points: 2, averages: false, where: 'section' },
    ask: 'Put two points in the section. The difference of their heights is as good as your hand.',
  },
];

export const toolOf = (kind: ReadingKind): Tool => TOOLS.find((tool) => tool.kind === kind)!;
