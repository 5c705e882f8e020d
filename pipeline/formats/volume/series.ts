/** The order of slices that lie in files of their own: by number, and with none missing. */
import { basename, extname } from 'node:path';
import { InputFault, type InputFaultFields } from '../../../shared/errors.ts';

/** Where the glob was written, for messages. */
export interface SeriesOrigin {
  /** The glob itself. */
  readonly pattern: string;
  /** The file that holds it, and the place in there. */
  readonly file: string;
  readonly place?: string;
}

/** Numbers and names listed in a message; the rest is counted. */
const MOST_NAMED = 10;

/**
 * Orders the files of a volume by the last run of digits in their paths that differs between them. Numbers may start
 * anywhere and go in equal steps.
 * @param paths what the glob found, in any order
 * @throws InputFault when nothing was found, the files do not follow one pattern, a number is there twice, or one of
 *   the series is missing
 */
export function orderSeries(paths: readonly string[], origin: SeriesOrigin): string[] {
  const fault = (
    tag: InputFaultFields['tag'],
    expected: string,
    found: string,
    remedy: string,
  ): InputFault => {
    const { file, place } = origin;
    return new InputFault({ tag, file, ...(place === undefined ? {} : { place }), expected, found, remedy });
  };
  if (paths.length === 0) {
    throw fault(
      'missing-file',
      `files that match "${origin.pattern}"`,
      'none',
      'Check the pattern, and that the files lie below the campaign folder.',
    );
  }
  if (paths.length === 1) return [...paths];
  checkOnePattern(paths, fault);

  const runs = paths.map((path) => [...path.matchAll(/\d+/g)].map(([digits]) => BigInt(digits)));
  const varying = runs[0].findLastIndex((value, run) => runs.some((other) => other[run] !== value));
  const counting = varying < 0 ? runs[0].length - 1 : varying;
  const slices = paths
    .map((path, index) => ({ path, number: runs[index][counting] ?? 0n }))
    .sort((a, b) => (a.number < b.number ? -1 : a.number > b.number ? 1 : 0));
  for (let index = 1; index < slices.length; index++) {
    const [before, here] = [slices[index - 1], slices[index]];
    if (before.number !== here.number) continue;
    throw fault(
      'inconsistent',
      'one file per slice number',
      `number ${here.number} twice: ${basename(before.path)} and ${basename(here.path)}`,
      'Remove one of them, or narrow the pattern.',
    );
  }
  checkNoGap(slices, fault);
  return slices.map(({ path }) => path);
}

type MakeFault = (
  tag: InputFaultFields['tag'],
  expected: string,
  found: string,
  remedy: string,
) => InputFault;

function checkOnePattern(paths: readonly string[], fault: MakeFault): void {
  const remedy = 'Narrow the pattern, so that it finds the slices of one volume only.';
  const extension = extname(paths[0]).toLowerCase();
  const other = paths.find((path) => extname(path).toLowerCase() !== extension);
  if (other !== undefined) {
    const found = `${basename(paths[0])} and ${basename(other)}`;
    throw fault('inconsistent', 'files of one kind', found, remedy);
  }
  const shape = (path: string): string => path.replace(/\d+/g, '#').toLowerCase();
  const unlike = paths.find((path) => shape(path) !== shape(paths[0]));
  if (unlike !== undefined) {
    const found = `${basename(paths[0])} and ${basename(unlike)}`;
    throw fault('inconsistent', 'names that differ in their numbers only', found, remedy);
  }
}

interface NumberedSlice {
  readonly path: string;
  readonly number: bigint;
}

function checkNoGap(slices: readonly NumberedSlice[], fault: MakeFault): void {
  const steps = slices.slice(1).map(({ number }, index) => number - slices[index].number);
  // Two files alone show no rhythm, so that a step of theirs is a gap.
  const step = slices.length === 2 ? 1n : steps.toSorted((a, b) => (a < b ? -1 : 1))[0];
  const gaps = steps.flatMap((width, index) => (width === step ? [] : [index]));
  if (gaps.length === 0) return;
  const missing: bigint[] = [];
  let count = 0n;
  for (const gap of gaps) {
    const first = slices[gap].number + step;
    const end = slices[gap + 1].number;
    count += (end - first + step - 1n) / step;
    for (let n = first; n < end && missing.length < MOST_NAMED; n += step) missing.push(n);
  }
  const named = missing.map(String).join(', ') + (count > missing.length ? `, ... (${count} in all)` : '');
  const [before, after] = [slices[gaps[0]], slices[gaps[0] + 1]].map(({ path }) => basename(path));
  const rhythm = step === 1n ? 'slice numbers without a gap' : `slice numbers in steps of ${step}`;
  throw fault(
    'inconsistent',
    rhythm,
    `no file for number ${named}, the first between ${before} and ${after}`,
    'Copy the missing files, or narrow the pattern to a series without gaps.',
  );
}
