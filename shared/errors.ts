/**
 * The faults a person can meet. Each carries the fields a caller may branch on; the text is made in one place so
 * that every message says the same five things: file, place, expected, found, what to do.
 */

/** What went wrong with an input, narrow enough to branch on. */
export type InputTag =
  | 'missing-file'
  | 'schema'
  | 'truncated'
  | 'malformed'
  | 'unsupported'
  | 'inconsistent'
  | 'limit'
  | 'no-space'
  | 'no-permission';

export interface InputFaultFields {
  readonly tag: InputTag;
  /** Path as the user knows it, relative to the campaign where possible. */
  readonly file: string;
  /** Where in the file: "line 12", "byte 1024, record 17 (XY)", "page 3". */
  readonly place?: string;
  readonly expected?: string;
  readonly found?: string;
  /** What the reader of the message can do about it, an imperative sentence. */
  readonly remedy?: string;
}

/** The input is wrong (exit code 1). */
export class InputFault extends Error {
  readonly kind = 'input';
  readonly tag: InputTag;
  readonly fields: InputFaultFields;

  constructor(fields: InputFaultFields, options?: { cause?: unknown }) {
    super(describeFault(fields), options);
    this.name = 'InputFault';
    this.tag = fields.tag;
    this.fields = fields;
  }
}

/** The command line is wrong (exit code 2). */
export class UsageFault extends Error {
  readonly kind = 'usage';
  constructor(message: string) {
    super(message);
    this.name = 'UsageFault';
  }
}

/** Someone stopped the work (exit code 3). */
export class InterruptedFault extends Error {
  readonly kind = 'interrupted';
  constructor(message = 'Interrupted. Run the same command again to go on.') {
    super(message);
    this.name = 'InterruptedFault';
  }
}

export type Fault = InputFault | UsageFault | InterruptedFault;

/** Narrows an unknown error to one of ours, optionally to one tag of an input fault. */
export function isFault(error: unknown): error is Fault;
export function isFault(error: unknown, tag: InputTag): error is InputFault;
export function isFault(error: unknown, tag?: InputTag): error is Fault {
  if (error instanceof InputFault) return tag === undefined || error.tag === tag;
  if (tag !== undefined) return false;
  return error instanceof UsageFault || error instanceof InterruptedFault;
}

/** Message of an input fault: one line of what, then one line of what to do. */
export function describeFault(fields: InputFaultFields): string {
  const where = fields.place ? `${fields.file}, ${fields.place}` : fields.file;
  const said: string[] = [];
  if (fields.expected) said.push(`expected ${fields.expected}`);
  if (fields.found) said.push(`found ${fields.found}`);
  const what = said.length > 0 ? said.join(', ') : fields.tag.replaceAll('-', ' ');
  return fields.remedy ? `${where}: ${what}\n  What to do: ${fields.remedy}` : `${where}: ${what}`;
}
