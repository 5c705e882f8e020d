/** Names of the folio that is being built, in shards; read once for all pages that need them. */
import { dataFolder } from './artefacts.ts';
import { getScans } from './content.ts';
import { type Shard, shardNames } from './name-shards.ts';
import { nameEntries } from './search-documents.ts';
import type { NameEntry, NameShard } from './search-options.ts';

let held: Promise<Shard<NameEntry>[]> | null = null;

export function nameShards(): Promise<Shard<NameEntry>[]> {
  held ??= getScans()
    .then((scans) => nameEntries(dataFolder(), scans))
    .then((entries) => shardNames(entries));
  return held;
}

export const shardList = async (): Promise<NameShard[]> =>
  (await nameShards()).map(({ prefix, whole, more }, n) => ({ prefix, whole, file: `${n}.json`, more }));
