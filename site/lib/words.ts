/** What a verdict, a basis or a seen layer means, in plain words. One place, so that every page says the same. */
import type { FolioScan } from '../../shared/artefacts/folio.ts';
import type { LayerSpan, Layers } from '../../shared/artefacts/layers.ts';
import type { Placement, Verdict } from '../../shared/artefacts/placement.ts';

export interface VerdictWords {
  readonly short: string;
  readonly long: string;
}

export function verdictWords(verdict: Verdict, source?: Placement['source']): VerdictWords {
  switch (verdict) {
    case 'locked':
      return source === 'landmarks'
        ? {
            short: 'placed by hand',
            long: 'The scan was placed in the layout by landmarks that a person set.',
          }
        : {
            short: 'placed',
            long: 'One place in the layout explains this scan, clear of the next best one.',
          };
    case 'ambiguous':
      return {
        short: 'place in doubt',
        long: 'Several places in the layout explain this scan equally well. The one shown may be the wrong one.',
      };
    case 'unplaced':
      return {
        short: 'not placed',
        long: 'This scan has no place in the layout. Its coordinates are scan coordinates: micrometres from a corner of the scanned box, not positions on the die.',
      };
  }
}

export const seenWords = (seen: LayerSpan['seen']): string =>
  ({
    whole: 'seen whole: the scan reaches below and above it',
    cut: 'cut: the scan ends inside it',
    outside: 'outside the scanned depth',
  })[seen];

export const basisWords = (basis: Layers['basis']): string =>
  ({
    measured: 'Heights were measured in the image.',
    nominal:
      'Heights are those of the process table, carried over through the placement; they were not measured.',
    none: 'There is no process table for this scan, so no layer is named.',
  })[basis];

export const roleWords = (role: LayerSpan['role']): string =>
  ({ conductor: 'conductor', via: 'via', other: 'other' })[role];

/** The name of the coordinates of a scan. */
export const frameWords = (scan: Pick<FolioScan, 'frame'>): string =>
  scan.frame === 'die' ? 'die coordinates' : 'scan coordinates';

export const kindWords = (kind: FolioScan['kind']): string => (kind === 'image' ? 'flat picture' : 'volume');

/** "a", "a and b", "a, b and c". */
export function listed(words: readonly string[]): string {
  if (words.length < 2) return words.join('');
  return `${words.slice(0, -1).join(', ')} and ${words.at(-1)}`;
}
