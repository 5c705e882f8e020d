/** The measured hit rate of the comparison on one scan, in words. */
import type { Selftest } from '../../shared/artefacts/selftest.ts';
import { type FindingKind, KIND_ORDER, kindName, timesInHundred } from './finding-words.ts';
import { formatFigures, formatFixed, formatLength } from './numbers.ts';

export type Trial = Selftest['trials'][number];

export interface RateGroup {
  readonly kind: FindingKind;
  readonly layer: string;
  /** Rising by size. */
  readonly trials: readonly Trial[];
}

/** Trials by kind and layer, in the order of the stack, the lowest layer first. */
export function rateGroups(trials: readonly Trial[], layersUpward: readonly string[]): RateGroup[] {
  const groups = new Map<string, { kind: FindingKind; layer: string; trials: Trial[] }>();
  for (const trial of trials) {
    const key = `${trial.kind} ${trial.layer}`;
    const group = groups.get(key) ?? { kind: trial.kind, layer: trial.layer, trials: [] };
    group.trials.push(trial);
    groups.set(key, group);
  }
  const place = (layer: string): number => {
    const at = layersUpward.indexOf(layer);
    return at < 0 ? layersUpward.length : at;
  };
  return [...groups.values()]
    .map((group) => ({ ...group, trials: group.trials.sort((a, b) => a.size_um - b.size_um) }))
    .sort(
      (a, b) => place(a.layer) - place(b.layer) || KIND_ORDER.indexOf(a.kind) - KIND_ORDER.indexOf(b.kind),
    );
}

/**
 * The trials that speak for a finding: of its kind and layer, with the size nearest to its own that is not larger;
 * where all are larger, the smallest.
 */
export function trialFor(
  trials: readonly Trial[],
  kind: FindingKind,
  layer: string,
  sizeUm: number,
): Trial | null {
  const own = trials
    .filter((trial) => trial.kind === kind && trial.layer === layer && trial.planted > 0)
    .sort((a, b) => a.size_um - b.size_um);
  // Sizes are compared with a little slack: a box is measured on pixels.
  return own.findLast((trial) => trial.size_um <= sizeUm * 1.05) ?? own[0] ?? null;
}

const article = (words: string): string => (/^[aeio]/.test(words) ? 'an' : 'a');

/** "On this scan, a missing via of 500 nm on via2 is found 97 times in 100." */
export function rateSentence(trial: Trial): string {
  const name = kindName(trial.kind);
  return `On this scan, ${article(name)} ${name} of ${formatLength(trial.size_um, 2)} on ${trial.layer} is found ${timesInHundred(trial.found, trial.planted)}.`;
}

/** "39 of 40 planted; between 86 and 99 in 100": the interval is widened to whole numbers. */
export const rateDetail = (trial: Trial): string =>
  `${trial.found} of ${trial.planted} planted; between ${Math.floor(100 * trial.low)} and ${Math.ceil(100 * trial.high)} in 100`;

/**
 * What the self-test says of the scan as a whole, sentence by sentence.
 * @param fieldUm2 area of the field where layers were judged; false alarms are counted over all layers of it together
 */
export function rateSummary(selftest: Selftest, fieldUm2: number): string[] {
  const { value, low, high } = selftest.false_per_1000um2;
  const per = (number: number): string => formatFigures(number, 2);
  const words = [
    selftest.precision === 1
      ? 'All differences that came back in the self-test had been planted.'
      : `Of 100 differences that came back in the self-test, ${Math.floor(100 * selftest.precision)} had been planted.`,
    `False alarms in 1000 µm² of the field, all layers together: ${value > 0 ? per(value) : 'none seen'}, which means between ${per(low)} and ${per(high)}.`,
  ];
  if (fieldUm2 > 0) {
    const expected = (value * fieldUm2) / 1000;
    const most = (high * fieldUm2) / 1000;
    words.push(
      `Over the ${formatFigures(fieldUm2, 3)} µm² judged here, that makes ${expected < 0.05 ? 'fewer than 0.1' : formatFixed(expected, 1)} expected, at most ${formatFixed(most, 1)}.`,
    );
  }
  return words;
}

/** "metal1: half of the edits of 150 nm are found, nine in ten of 350 nm." */
export const sizeSentence = (layer: string, size: Selftest['size_found_um'][string]): string =>
  `${layer}: half of the edits of ${formatLength(size.half, 2)} are found, and nine in ten of those of ${formatLength(size.nine_in_ten, 2)}.`;
