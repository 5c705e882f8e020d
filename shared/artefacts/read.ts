/** Reading an artefact: text to checked value, or one clear fault with the place in the file. */
import { isNode, LineCounter, parseDocument } from 'yaml';
import type { z } from 'zod';
import { InputFault } from '../errors.ts';
import { knownKeysAt, nearest } from './known-keys.ts';

const MAX_ALIASES = 100;

/**
 * Parses YAML written by a person and checks it. Aliases are limited, so that a small file cannot unfold into a
 * huge one.
 * @throws InputFault (`malformed` for YAML itself, `schema` for its content) with file and line.
 */
export function readYaml<S extends z.ZodType>(text: string, file: string, schema: S): z.output<S> {
  const lineCounter = new LineCounter();
  const document = parseDocument(text, { lineCounter, prettyErrors: false });
  const broken = document.errors[0];
  if (broken) {
    throw new InputFault({
      tag: 'malformed',
      file,
      place: `line ${lineCounter.linePos(broken.pos[0]).line}`,
      expected: 'YAML',
      found: broken.message,
      remedy: 'Correct the line; indentation by spaces, text with ":" or "#" in quotes.',
    });
  }
  const value = unfolded(document, file);
  const result = schema.safeParse(value);
  if (result.success) return result.data;
  const lineOf = (path: readonly PropertyKey[], key?: string): string | undefined => {
    for (let length = path.length; length >= 0; length--) {
      const part = path.slice(0, length);
      const target = key !== undefined && length === path.length ? [...part, key] : part;
      const node = target.length === 0 ? document.contents : document.getIn(target, true);
      if (isNode(node) && node.range) return `line ${lineCounter.linePos(node.range[0]).line}`;
    }
    return undefined;
  };
  throw schemaFault(result.error, schema, value, file, lineOf);
}

function unfolded(document: { toJS(options: { maxAliasCount: number }): unknown }, file: string): unknown {
  try {
    return document.toJS({ maxAliasCount: MAX_ALIASES });
  } catch (cause) {
    throw new InputFault(
      {
        tag: 'limit',
        file,
        expected: `at most ${MAX_ALIASES} nodes repeated by aliases (*name)`,
        found: 'more',
        remedy: 'Write the values out instead of repeating them by alias.',
      },
      { cause },
    );
  }
}

/**
 * Parses JSON that the pipeline wrote and checks it.
 * @throws InputFault when it is not JSON or not of the schema.
 */
export function readJson<S extends z.ZodType>(text: string, file: string, schema: S): z.output<S> {
  let value: unknown;
  try {
    value = JSON.parse(text);
  } catch (cause) {
    throw new InputFault(
      {
        tag: 'malformed',
        file,
        expected: 'JSON',
        found: String((cause as Error).message),
        remedy: 'Build the folio again.',
      },
      { cause },
    );
  }
  const result = schema.safeParse(value);
  if (result.success) return result.data;
  throw schemaFault(result.error, schema, value, file, () => undefined);
}

function schemaFault(
  error: z.ZodError,
  schema: z.ZodType,
  value: unknown,
  file: string,
  lineOf: (path: readonly PropertyKey[], key?: string) => string | undefined,
): InputFault {
  // An unknown key is told before what it caused (the key it stands for, missing).
  const issue = error.issues.find((i) => i.code === 'unrecognized_keys') ?? error.issues[0]!;
  const more = error.issues.length > 1 ? ` (and ${error.issues.length - 1} more after this one)` : '';
  const where = (line: string | undefined, path: string) => (line ? `${line}, ${path}` : path);
  if (issue.code === 'unrecognized_keys') {
    const key = issue.keys[0]!;
    const known = knownKeysAt(schema, issue.path);
    const near = nearest(key, known);
    return new InputFault({
      tag: 'schema',
      file,
      place: where(lineOf(issue.path, key), dotted([...issue.path, key])),
      expected: near ? `a known key, the nearest is "${near}"` : `one of ${known.join(', ')}`,
      found: `the unknown key "${key}"${more}`,
      remedy: near ? `Write "${near}", or take the key out.` : 'Take the key out.',
    });
  }
  return new InputFault({
    tag: 'schema',
    file,
    place: where(lineOf(issue.path), dotted(issue.path)),
    expected: expectation(issue),
    found: `${shown(valueAt(value, issue.path))}${more}`,
    remedy: `Correct ${dotted(issue.path)}.`,
  });
}

function dotted(path: readonly PropertyKey[]): string {
  let text = '';
  for (const step of path)
    text += typeof step === 'number' ? `[${step}]` : `${text ? '.' : ''}${String(step)}`;
  return text || 'the whole file';
}

function valueAt(value: unknown, path: readonly PropertyKey[]): unknown {
  let here: unknown = value;
  for (const step of path) here = (here as Record<PropertyKey, unknown> | undefined | null)?.[step];
  return here;
}

function shown(value: unknown): string {
  if (value === undefined) return 'nothing';
  const text = JSON.stringify(value);
  return text.length > 60 ? `${text.slice(0, 57)}...` : text;
}

function expectation(issue: z.core.$ZodIssue): string {
  switch (issue.code) {
    case 'invalid_type':
      return article(issue.expected);
    case 'invalid_value':
      return issue.values.length === 1
        ? shown(issue.values[0])
        : `one of ${issue.values.map(shown).join(', ')}`;
    case 'too_small':
      if (issue.origin === 'string' || issue.origin === 'array')
        return `at least ${counted(issue.minimum, issue.origin)}`;
      return `a number ${issue.inclusive ? 'of at least' : 'greater than'} ${issue.minimum}`;
    case 'too_big':
      if (issue.origin === 'string' || issue.origin === 'array')
        return `at most ${counted(issue.maximum, issue.origin)}`;
      return `a number ${issue.inclusive ? 'of at most' : 'below'} ${issue.maximum}`;
    case 'invalid_union': {
      const options = issue.errors.flatMap((branch) => (branch[0] ? [expectation(branch[0])] : []));
      return [...new Set(options)].join(', or ');
    }
    default:
      return issue.message;
  }
}

function counted(number: number | bigint, origin: string): string {
  const [one, many] = origin === 'array' ? ['entry', 'entries'] : ['character', 'characters'];
  return `${number} ${Number(number) === 1 ? one : many}`;
}

const article = (name: string): string =>
  name === 'tuple' || name === 'array'
    ? 'a list'
    : name === 'int'
      ? 'a whole number'
      : /^[aeio]/.test(name)
        ? `an ${name}`
        : `a ${name}`;
