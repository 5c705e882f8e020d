/** The sentences of the verdict page: what a designer hands to somebody who reads one page. */
import type { NetFault } from '../../shared/artefacts/nets.ts';
import type { ScanArtefacts } from './artefacts.ts';
import { KIND_ORDER, kindCount, oddsWords } from './finding-words.ts';
import { type JudgedLayer, notCompared } from './judged.ts';
import { formatFixed } from './numbers.ts';
import { listed } from './words.ts';

/** From here on a difference is called likely. */
export const LIKELY = 0.9;

/** The one sentence at the head of the page. */
export function verdictSentence(artefacts: ScanArtefacts, judged: readonly JudgedLayer[]): string {
  const nothing = notCompared(artefacts);
  if (nothing) return nothing;
  const { findings, reviews } = artefacts;
  const all = findings!.findings;
  const layers = judged.filter((layer) => layer.judgedUm2 > 0).length;
  const on = `On ${layers} of ${judged.length} layers image and drawing were compared`;
  if (all.length === 0) return `${on}. Within what this scan can show, they agree.`;
  const likely = all.filter((finding) => finding.probability >= LIKELY);
  const kinds = KIND_ORDER.flatMap((kind) => {
    const count = likely.filter((finding) => finding.kind === kind).length;
    return count > 0 ? [kindCount(kind, count)] : [];
  });
  const rest = all.length - likely.length;
  const less = rest > 0 ? `, and ${rest} less likely ${rest === 1 ? 'one' : 'ones'}` : '';
  const head =
    likely.length > 0
      ? `${likely.length} likely ${likely.length === 1 ? 'difference' : 'differences'}: ${listed(kinds)}${less}`
      : `No likely difference, ${rest} less likely ${rest === 1 ? 'one' : 'ones'}`;
  const persons = reviews.length > 0 ? ` Persons have judged ${reviews.length} of the places.` : '';
  return `${on}. ${head}.${persons}`;
}

/** "clk_div3 is broken: via2 at 106.42, 83.28 (99 in 100)"; the note of the connectivity where it wrote one. */
export function faultSentence(fault: NetFault, kind: 'open' | 'short'): string {
  const odds = `(${oddsWords(fault.probability)})`;
  const round =
    kind === 'open' && fault.may_join_outside ? '. Outside the field another way may still join it.' : '';
  if (fault.note) return `${fault.note.replace(/\.$/, '')} ${odds}${round}`;
  const nets = listed(fault.nets);
  const what = kind === 'open' ? `${nets} ${fault.nets.length > 1 ? 'are' : 'is'} broken` : `${nets} touch`;
  const places = fault.places
    .slice(0, 4)
    .map(
      (place) =>
        `${place.layer} at ${formatFixed(place.centre_um[0], 2)}, ${formatFixed(place.centre_um[1], 2)}`,
    );
  const more = fault.places.length > 4 ? ` and ${fault.places.length - 4} more places` : '';
  return `${what}${places.length > 0 ? `: ${places.join('; ')}${more}` : ''} ${odds}${round}`;
}

/** What no comparison of this scan could have found, sentence by sentence. */
export function blindSentences(artefacts: ScanArtefacts, judged: readonly JudgedLayer[]): string[] {
  const { selftest, scan } = artefacts;
  const blind = judged.filter((layer) => layer.judgedUm2 === 0).map((layer) => layer.name);
  const words = [
    'Anything outside the scanned field.',
    'Changes of material or doping, and anything that leaves the shapes of the wires as they are.',
  ];
  if (blind.length > 0)
    words.unshift(
      `Anything on ${listed(blind)}: ${blind.length > 1 ? 'these layers were' : 'this layer was'} not judged.`,
    );
  if (!selftest) {
    words.push(
      'How small a fault could have been overlooked was not measured: there is no self-test of this scan.',
    );
  } else {
    const sizes = Object.values(selftest.size_found_um).map((size) => size.nine_in_ten);
    if (sizes.length > 0) {
      words.push('Faults smaller than the sizes in the table: of those as large, one in ten goes unseen.');
    }
  }
  if (scan.verdict !== 'locked') words.unshift('Everything: the place of the scan is not settled.');
  return words;
}
