/**
 * Names of nets and cells in files by the beginnings of their words, so that a layout with a hundred thousand nets
 * costs a reader one small file. Pure; used by the build and by the page.
 */
import type { NameShard } from './search-options.ts';

/** Entries of one file. */
const MOST = 1200;

/** What a name is found by: itself, its parts, and its parts without their numbers' joints. */
export function wordsOf(name: string): string[] {
  const whole = name.toLowerCase();
  const parts = whole.split(/[^\p{L}\p{N}]+/u).filter((part) => part !== '');
  return [...new Set([whole, ...parts])];
}

export interface Shard<T> {
  readonly prefix: string;
  /** Whether the prefix is the whole word of all of them. */
  readonly whole: boolean;
  readonly entries: readonly T[];
  readonly more: number;
}

/** Splits entries by the first letters of their words until every shard is small. */
export function shardNames<T extends { readonly name: string }>(
  entries: readonly T[],
  most = MOST,
): Shard<T>[] {
  const pairs = entries.flatMap((entry) => wordsOf(entry.name).map((word) => ({ word, entry })));
  const shards: Shard<T>[] = [];
  const split = (here: typeof pairs, prefix: string): void => {
    const own = [...new Set(here.map((pair) => pair.entry))];
    if (own.length <= most) {
      if (own.length > 0) shards.push({ prefix, whole: false, entries: own, more: 0 });
      return;
    }
    const next = new Map<string, typeof pairs>();
    const ended: T[] = [];
    for (const pair of here) {
      // By code points: half a surrogate pair is no letter.
      const letter = [...pair.word.slice(prefix.length)][0];
      if (letter === undefined) ended.push(pair.entry);
      else {
        const same = next.get(letter);
        if (same) same.push(pair);
        else next.set(letter, [pair]);
      }
    }
    if (ended.length > 0)
      shards.push({
        prefix,
        whole: true,
        entries: ended.slice(0, most),
        more: Math.max(0, ended.length - most),
      });
    for (const [letter, rest] of [...next].sort(([a], [b]) => (a < b ? -1 : 1))) split(rest, prefix + letter);
  };
  split(pairs, '');
  return shards;
}

/** Shards that may hold a word that begins as the query does. */
export const shardsFor = (shards: readonly NameShard[], query: string): NameShard[] =>
  shards.filter(({ prefix, whole }) => prefix.startsWith(query) || (!whole && query.startsWith(prefix)));

/** Whether every word of a query begins a word of the name. */
export function matches(name: string, query: string): boolean {
  const words = wordsOf(name);
  const whole = query.trim().toLowerCase();
  if (whole === '') return false;
  if (words.some((word) => word.startsWith(whole))) return true;
  const asked = whole.split(/[^\p{L}\p{N}]+/u).filter((part) => part !== '');
  return asked.length > 0 && asked.every((part) => words.some((word) => word.startsWith(part)));
}
