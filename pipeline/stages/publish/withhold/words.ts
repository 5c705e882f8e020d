/** Words that people wrote and a folio prints: they must not name what is withheld. */
import { readFile } from 'node:fs/promises';
import { relative } from 'node:path';
import type { Campaign } from '../../../../shared/artefacts/campaign.ts';
import type { Process } from '../../../../shared/artefacts/process.ts';
import type { Reviews } from '../../../../shared/artefacts/reviews.ts';
import { InputFault } from '../../../../shared/errors.ts';
import type { Withholding } from './resolve.ts';

interface Written {
  readonly folder: string;
  readonly campaign: Campaign;
  readonly process: Process | null;
}

/**
 * Looks for the names of withheld cells in everything that is printed as it was written.
 * @throws InputFault naming the file and the line or the key
 */
export async function checkWords(
  { folder, campaign, process }: Written,
  lessons: readonly string[],
  reviews: Reviews | null,
  withheld: Withholding,
): Promise<void> {
  if (withheld.cells.size === 0) return;
  const name = nameFinder(withheld.cells);
  for (const file of lessons) {
    const text = await readFile(file, 'utf8');
    text.split('\n').forEach((line, n) => {
      refuse(relative(folder, file), `line ${n + 1}`, name(line));
    });
  }
  for (const [key, text] of strings({ ...campaign, withhold: undefined }))
    refuse('campaign.yaml', key, name(text));
  for (const [key, text] of strings(process)) refuse(campaign.chip.process ?? '', key, name(text));
  reviews?.reviews.forEach(({ comment, id }) => {
    refuse(reviews.source, `comment on ${id}`, name(comment));
  });
}

/** Whole names only: a cell "INV" is not named by the word "INVENTED". */
function nameFinder(names: ReadonlySet<string>): (text: string) => string | undefined {
  return (text) =>
    text
      .match(/[\p{L}\p{N}_$?.-]+/gu)
      ?.flatMap((word) => [word, word.replace(/[.?-]+$/, '')])
      .find((word) => names.has(word));
}

function refuse(file: string, place: string, found: string | undefined): void {
  if (found === undefined) return;
  throw new InputFault({
    tag: 'inconsistent',
    file,
    place,
    expected: 'no name of a withheld cell',
    found: `"${found}"`,
    remedy: 'Say it without the name, or take the cell out of withhold.cells. Nothing was published.',
  });
}

function* strings(value: unknown, key = ''): Generator<[string, string]> {
  if (typeof value === 'string') yield [key, value];
  else if (value !== null && typeof value === 'object')
    for (const [name, inner] of Object.entries(value)) yield* strings(inner, key ? `${key}.${name}` : name);
}

export const leftOutDoubt = ({ title }: { readonly title: string }): string =>
  `The scan "${title}" is left out whole: places are withheld, and where it lies on the die is not certain enough to leave out only those.`;
