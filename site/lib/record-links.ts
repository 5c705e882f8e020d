/** The files of the archive record that lie beside the pages. */
import { existsSync } from 'node:fs';
import { join } from 'node:path';

const FILES = [
  ['CITATION.cff', 'citation file'],
  ['datacite.json', 'DataCite metadata'],
  ['LICENCE.txt', 'licence text'],
  ['data/dictionary.csv', 'data dictionary'],
  ['data/inputs.json', 'checksums of the input files'],
] as const;

/** @param data folder of the data; files of the record lie there and in the folder around it */
export function recordLinks(data: string): { path: string; words: string }[] {
  const there = FILES.filter(([path]) => existsSync(join(data, '..', path)));
  return there.map(([path, words]) => ({ path, words }));
}
