/** What findings, odds and hit rates mean, in plain words. One place, so that every page says the same. */
import type { Findings, findingKinds } from '../../shared/artefacts/findings.ts';
import type { Decision } from '../../shared/artefacts/reviews.ts';
import { formatFixed } from './numbers.ts';

export type Finding = Findings['findings'][number];
export type FindingKind = (typeof findingKinds)[number];

const KINDS: Readonly<Record<FindingKind, readonly [one: string, many: string, meaning: string]>> = {
  'missing-shape': [
    'missing shape',
    'missing shapes',
    'A shape is drawn here, and the image does not show it.',
  ],
  'missing-via': ['missing via', 'missing vias', 'A via is drawn here, and the image does not show it.'],
  'extra-shape': ['extra shape', 'extra shapes', 'The image shows a shape here that is not drawn.'],
  'extra-via': ['extra via', 'extra vias', 'The image shows a via here that is not drawn.'],
  open: ['open', 'opens', 'A wire that is drawn whole is broken here in the image.'],
  bridge: ['bridge', 'bridges', 'Two wires that are drawn apart touch here in the image.'],
  narrow: ['narrow place', 'narrow places', 'The wire is narrower here than it is drawn.'],
  wide: ['wide place', 'wide places', 'The wire is wider here than it is drawn.'],
  shifted: ['shifted shape', 'shifted shapes', 'The shape lies beside the place where it is drawn.'],
};

export const kindName = (kind: FindingKind): string => KINDS[kind][0];
export const kindMeaning = (kind: FindingKind): string => KINDS[kind][2];
export const kindCount = (kind: FindingKind, count: number): string =>
  `${count} ${KINDS[kind][count === 1 ? 0 : 1]}`;

/** Every kind in the order of the contract. */
export const KIND_ORDER = Object.keys(KINDS) as FindingKind[];

const NBSP = '\u00a0';

/** "0.50 by 0.20 µm", along X and along Y. */
export function sizeWords(finding: Pick<Finding, 'box_um'>): string {
  const [x0, y0, x1, y1] = finding.box_um;
  return `${formatFixed(x1 - x0, 2)} by ${formatFixed(y1 - y0, 2)}${NBSP}µm`;
}

/** One sentence: the note of the comparison where it wrote one. */
export const findingSentence = (finding: Pick<Finding, 'kind' | 'note'>): string =>
  finding.note || kindMeaning(finding.kind);

/** "98 in 100"; never 0 or 100, which no comparison can promise. */
export function oddsWords(probability: number): string {
  if (probability >= 0.995) return 'more than 99 in 100';
  if (probability < 0.005) return 'less than 1 in 100';
  return `${Math.round(100 * probability)} in 100`;
}

/** "39 of 40" said as times in a hundred, rounded towards the worse. */
export function timesInHundred(found: number, planted: number): string {
  if (planted === 0) return 'never tried';
  const trials = planted === 1 ? '1 trial' : `${planted} trials`;
  if (found === planted) return `every time in ${trials}`;
  if (found === 0) return `not once in ${trials}`;
  return `${Math.floor((100 * found) / planted)} times in 100`;
}

export const decisionWords = (decision: Decision): string =>
  ({ accept: 'accepted', reject: 'rejected', comment: 'remarked on' })[decision];

export const decisionMeaning = (decision: Decision): string =>
  ({
    accept: 'a person holds it for a real difference',
    reject: 'a person holds it for a false alarm',
    comment: 'a person left a remark without a decision',
  })[decision];
