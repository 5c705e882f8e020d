/** Small things about the JSON that Zarr keeps its metadata in. */

export type Json = Record<string, unknown>;

/** Makes the fault for a piece of metadata; `malformed` is taken where no tag is given. */
export type Fault = (expected: string, found: string, tag?: 'malformed' | 'limit') => Error;

/** A value as it stands in the metadata, not longer than a message bears. */
export function show(value: unknown): string {
  const text = value === undefined ? 'nothing' : (JSON.stringify(value) ?? String(value));
  return text.length > 80 ? `${text.slice(0, 77)}...` : text;
}
