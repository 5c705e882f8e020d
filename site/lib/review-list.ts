/** Lists of reviews: read from where a browser keeps them, merged with the record, written as rows. Pure. */
import type { Review } from '../../shared/artefacts/reviews.ts';
import type { CsvValue } from '../../shared/csv.ts';

/** The columns of reviews.csv, written out so that a browser need not load the schemas; a test compares the two. */
export const COLUMNS = [
  'scan',
  'id',
  'kind',
  'layer',
  'x_um',
  'y_um',
  'decision',
  'comment',
  'date',
] as const satisfies readonly (keyof Review)[];

const same = (a: Review, b: Review): boolean => COLUMNS.every((name) => a[name] === b[name]);

/**
 * What a browser has kept, without what the record took in meanwhile.
 * @param text as it was stored; anything that is not a list of reviews counts for nothing
 */
export function readStored(text: string | null, recorded: readonly Review[]): Review[] {
  if (text === null) return [];
  let value: unknown;
  try {
    value = JSON.parse(text);
  } catch {
    return [];
  }
  if (!Array.isArray(value)) return [];
  return (value as unknown[])
    .filter(isReview)
    .filter((review) => !recorded.some((other) => same(review, other)));
}

function isReview(value: unknown): value is Review {
  if (typeof value !== 'object' || value === null) return false;
  const one = value as Record<string, unknown>;
  return COLUMNS.every((name) =>
    name === 'x_um' || name === 'y_um' ? Number.isFinite(one[name]) : typeof one[name] === 'string',
  );
}

/** The record first, then what is new. */
export const mergeReviews = (recorded: readonly Review[], own: readonly Review[]): Review[] => [
  ...recorded,
  ...own.filter((review) => !recorded.some((other) => same(review, other))),
];

export const reviewRows = (
  reviews: readonly Review[],
): [header: readonly string[], rows: readonly (readonly CsvValue[])[]] => [
  COLUMNS,
  reviews.map((review) => COLUMNS.map((name) => review[name])),
];
