/** One plain sentence per finding. */
import type { Classified, FindingKind } from './classify.ts';

export interface NoteInput {
  readonly found: Classified;
  readonly layer: string;
  readonly centreUm: readonly [number, number];
  readonly sizeUm: readonly [number, number];
  readonly probability: number;
  readonly thresholdZ: number;
  readonly nets: readonly string[];
}

const WHAT: Record<FindingKind, (size: string, layer: string) => string> = {
  'missing-shape': (size, layer) => `Metal of about ${size} that is drawn on ${layer} is not in the image`,
  'missing-via': (size, layer) => `A via of ${size} is drawn on ${layer}, and the image shows none`,
  'extra-shape': (size, layer) => `The image shows metal of about ${size} on ${layer} where none is drawn`,
  'extra-via': (size, layer) => `The image shows a via of about ${size} on ${layer} where none is drawn`,
  open: (size, layer) => `A conductor drawn on ${layer} is broken over about ${size}`,
  bridge: (size, layer) => `Two conductors drawn apart on ${layer} touch through metal of about ${size}`,
  narrow: (size, layer) => `Metal on ${layer} is narrower than drawn, over about ${size}`,
  wide: (size, layer) => `Metal on ${layer} reaches past its drawn edge, over about ${size}`,
  shifted: (size, layer) => `Metal on ${layer} lies beside its drawn place, over about ${size}`,
};

export function noteOf(input: NoteInput): string {
  const { found, layer, centreUm, sizeUm, probability, thresholdZ, nets } = input;
  const size = `${length(sizeUm[0])} × ${length(sizeUm[1])} µm`;
  const where = `at ${centreUm[0].toFixed(2)}, ${centreUm[1].toFixed(2)} µm`;
  const names = nets.length > 0 ? ` (${nets.slice(0, 3).join(', ')})` : '';
  return (
    `${WHAT[found.kind](size, layer)}, ${where}${names}: ${percent(probability)} likely, ` +
    `${found.z.toFixed(1)} standard deviations where ${thresholdZ.toFixed(1)} are needed.` +
    (found.maybeFill ? ' It may be a lone shape of fill.' : '')
  );
}

const length = (um: number): string => (um < 10 ? um.toFixed(2) : um.toFixed(1));

/** Never "100 %": no statement from an image is. */
const percent = (p: number): string =>
  p >= 0.995 ? 'more than 99 %' : p < 0.01 ? 'less than 1 %' : `${Math.round(100 * p)} %`;
