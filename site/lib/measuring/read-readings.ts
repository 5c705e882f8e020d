/** Readings from JSON, checked against their schema; in a file of its own, so that pages load it only when needed. */
import { readingsSchema } from '../../../shared/artefacts/readings.ts';
import { InputFault } from '../../../shared/errors.ts';
import type { Reading } from './reading.ts';

/** @throws InputFault when the text is not JSON or not of the schema */
export function readReadings(text: string, file: string): readonly Reading[] {
  let value: unknown;
  try {
    value = JSON.parse(text);
  } catch (cause) {
    throw new InputFault(
      {
        ...{ tag: 'malformed', file, expected: 'JSON', found: String((cause as Error).message) },
        remedy: 'Read in a file that was saved by this page.',
      },
      { cause },
    );
  }
  const result = readingsSchema.safeParse(value);
  if (result.success) return result.data.readings;
  const issue = result.error.issues[0]!;
  throw new InputFault({
    ...{ tag: 'schema', file, place: issue.path.join('.') || 'the top', expected: issue.message },
    remedy: 'Read in a file that was saved by this page.',
  });
}
