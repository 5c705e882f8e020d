/** Keys by content: two values have one key exactly when everything in them is the same. */
import { createHash, type Hash } from 'node:crypto';

/**
 * SHA-256 over a value: numbers by their bits, text, truth values, null, arrays, plain objects (in any order of their
 * names; an undefined member counts as none), maps, sets and typed arrays.
 * @returns 64 hexadecimal digits
 * @throws TypeError for a value with behaviour, such as a function: its content cannot be told
 */
export function contentKey(value: unknown): string {
  const hash = createHash('sha256');
  feed(hash, value);
  return hash.digest('hex');
}

function feed(hash: Hash, value: unknown): void {
  if (value === null) hash.update('n;');
  else if (value === undefined) hash.update('u;');
  else if (typeof value === 'boolean') hash.update(value ? 't;' : 'f;');
  else if (typeof value === 'number') hash.update('d').update(new Uint8Array(Float64Array.of(value).buffer));
  else if (typeof value === 'bigint') feedText(hash, 'b', String(value));
  else if (typeof value === 'string') feedText(hash, 's', value);
  else if (ArrayBuffer.isView(value)) feedView(hash, value);
  else if (Array.isArray(value)) feedList(hash, 'a', value);
  else if (value instanceof Map) feedList(hash, 'm', [...value].flat(1));
  else if (value instanceof Set) feedList(hash, 'e', [...value]);
  else if (typeof value === 'object' && isPlain(value)) feedMembers(hash, value as Record<string, unknown>);
  else throw new TypeError(`The content of a ${typeof value} cannot be told.`);
}

/** The length before the text: no two lists of texts can run together to the same bytes. */
function feedText(hash: Hash, mark: string, text: string): void {
  hash.update(`${mark}${Buffer.byteLength(text)}:`).update(text);
}

function feedView(hash: Hash, view: ArrayBufferView): void {
  feedText(hash, 'v', view.constructor.name);
  hash.update(`${view.byteLength}:`);
  hash.update(new Uint8Array(view.buffer, view.byteOffset, view.byteLength));
}

function feedList(hash: Hash, mark: string, list: readonly unknown[]): void {
  hash.update(`${mark}${list.length}:`);
  for (const entry of list) feed(hash, entry);
}

function feedMembers(hash: Hash, object: Record<string, unknown>): void {
  const names = Object.keys(object)
    .filter((name) => object[name] !== undefined)
    .sort();
  hash.update(`o${names.length}:`);
  for (const name of names) {
    feedText(hash, 'k', name);
    feed(hash, object[name]);
  }
}

function isPlain(value: object): boolean {
  const prototype = Object.getPrototypeOf(value);
  return prototype === Object.prototype || prototype === null;
}
