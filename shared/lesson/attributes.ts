/** Attributes of a lesson's directives, read strictly: what is not known or not sound is a fault with its line. */

import { nearest } from '../artefacts/known-keys.ts';
import { InputFault } from '../errors.ts';
import type { Box } from '../polygon.ts';
import type { Directive } from './markdown.ts';

/** Where a fault of a lesson is told: its file, and how many lines stand before the text that was parsed. */
export interface LessonPlace {
  readonly file: string;
  readonly linesBefore: number;
}

export const lineOf = (
  node: { position?: { start: { line: number } } | undefined },
  place: LessonPlace,
): number => (node.position?.start.line ?? 1) + place.linesBefore;

/** @param line of the file, counted from 1 */
export function lessonFault(
  place: Pick<LessonPlace, 'file'>,
  line: number,
  expected: string,
  found: string,
  remedy: string,
): InputFault {
  return new InputFault({
    tag: 'inconsistent',
    file: place.file,
    place: `line ${line}`,
    expected,
    found,
    remedy,
  });
}

export class Attributes {
  readonly #values: Readonly<Record<string, string>>;
  readonly #name: string;
  readonly #place: LessonPlace;
  readonly line: number;

  /** @throws InputFault for a key that is not among `known` */
  constructor(node: Directive, known: readonly string[], place: LessonPlace) {
    this.#place = place;
    this.#name = node.name;
    this.line = lineOf(node, place);
    this.#values = Object.fromEntries(
      Object.entries(node.attributes ?? {}).map(([key, value]) => [key, value ?? '']),
    );
    for (const key of Object.keys(this.#values)) {
      if (known.includes(key)) continue;
      const near = nearest(key, known);
      throw this.fault(
        near ? `a known attribute of "${node.name}", the nearest is "${near}"` : `one of ${known.join(', ')}`,
        `"${key}"`,
        near ? `Write ${near}="..." instead.` : 'Take the attribute out.',
      );
    }
  }

  fault(expected: string, found: string, remedy: string): InputFault {
    return lessonFault(this.#place, this.line, expected, found, remedy);
  }

  has(key: string): boolean {
    return this.#values[key] !== undefined;
  }

  text(key: string): string | null {
    const value = this.#values[key];
    if (value === undefined) return null;
    if (value.trim() === '')
      throw this.fault(
        `a value for ${key}="..." of "${this.#name}"`,
        'nothing',
        `Fill in ${key}, or take it out.`,
      );
    return value.trim();
  }

  oneOf<T extends string>(key: string, values: readonly T[]): T | null {
    const value = this.text(key);
    if (value === null) return null;
    const found = values.find((one) => one === value);
    if (found) return found;
    throw this.fault(`${key}= one of ${values.join(', ')}`, `"${value}"`, `Correct ${key}="${value}".`);
  }

  #numbers(key: string, count: number, form: string): number[] | null {
    const value = this.text(key);
    if (value === null) return null;
    const numbers = value.split(',').map((part) => (part.trim() === '' ? Number.NaN : Number(part)));
    if (numbers.length === count && numbers.every(Number.isFinite)) return numbers;
    throw this.fault(
      `${key}="${form}"`,
      `${key}="${value}"`,
      'Write plain numbers with a point, in micrometres.',
    );
  }

  /** Positive, in micrometres. */
  length(key: string): number | null {
    const value = this.#numbers(key, 1, 'length in micrometres')?.[0] ?? null;
    if (value !== null && value <= 0)
      throw this.fault(`${key} above zero`, String(value), `Correct ${key}="${value}".`);
    return value;
  }

  height(key: string): number | null {
    return this.#numbers(key, 1, 'height in micrometres')?.[0] ?? null;
  }

  point(key: string): readonly [number, number] | null {
    const at = this.#numbers(key, 2, 'x,y in micrometres');
    return at && [at[0]!, at[1]!];
  }

  box(key: string): Box | null {
    const at = this.#numbers(key, 4, 'x0,y0,x1,y1 in micrometres');
    if (!at) return null;
    const [x0, y0, x1, y1] = at as [number, number, number, number];
    if (x0 < x1 && y0 < y1) return [x0, y0, x1, y1];
    throw this.fault(
      `${key}="x0,y0,x1,y1" with x0 < x1 and y0 < y1`,
      `"${this.text(key)}"`,
      'Put the corners in order.',
    );
  }
}
