/**
 * A folio as a bag for an archive, and the check of one. @source RFC 8493 (BagIt 1.0): 2.1.1 bagit.txt, 2.1.2 payload,
 * 2.1.3 payload manifests, 2.2.1 tag manifests, 2.2.2 bag-info.txt.
 */
import { copyFile, link, mkdir, readdir, readFile, rename, rm, stat } from 'node:fs/promises';
import { dirname, join, relative, sep } from 'node:path';
import type { Folio } from '../../../shared/artefacts/folio.ts';
import { InputFault } from '../../../shared/errors.ts';
import { diskFault, writeAtomically } from '../../output/files.ts';
import type { FixityReport } from './manifest.ts';
import { hashFile, severalAtOnce } from './record/hash-files.ts';

const DECLARATION = 'BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n';
const ALGORITHMS = ['sha256', 'sha512'] as const;

const filesBelow = async (folder: string): Promise<string[]> =>
  (await readdir(folder, { recursive: true, withFileTypes: true }))
    .filter((entry) => !entry.isDirectory())
    .map((entry) => relative(folder, join(entry.parentPath, entry.name)).split(sep).join('/'))
    .sort();

/** Line ends and percent signs in names are escaped. @source RFC 8493, 2.1.3 */
const escapePath = (path: string) =>
  path.replace(/[%\r\n]/g, (c) => `%${c.charCodeAt(0).toString(16).toUpperCase().padStart(2, '0')}`);
const unescapePath = (path: string) =>
  path.replace(/%0[AD]|%25/gi, (code) => String.fromCharCode(Number.parseInt(code.slice(1), 16)));

/**
 * @param folder of the finished folio
 * @param target where the bag goes; an older bag there is replaced once the new one is whole
 * @throws InputFault when something else stands there, or the disk refuses
 */
export async function writeBag(folder: string, target: string, folio: Folio): Promise<void> {
  const there: string[] = await readdir(target).catch(() => []);
  if (there.length > 0 && !there.includes('bagit.txt')) {
    throw new InputFault({
      ...{ tag: 'inconsistent', file: target, expected: 'an empty place, or an older bag to replace' },
      found: 'a folder with other things in it',
      remedy: 'Move what is there.',
    });
  }
  const building = `${target}.building-${process.pid}`;
  try {
    await rm(building, { recursive: true, force: true });
    const paths = await filesBelow(folder);
    for (const path of paths) {
      const to = join(building, 'data', path);
      await mkdir(dirname(to), { recursive: true });
      // A second name costs no room; where the file system has none, a copy.
      await link(join(folder, path), to).catch(() => copyFile(join(folder, path), to));
    }
    const hashed = await severalAtOnce(paths, (path) => hashFile(join(folder, path), ALGORITHMS));
    const octets = hashed.reduce((sum, { bytes }) => sum + bytes, 0);
    for (const name of ALGORITHMS) {
      const lines = paths.map((path, n) => `${hashed[n]![name]}  data/${escapePath(path)}\n`);
      await writeAtomically(join(building, `manifest-${name}.txt`), lines.join(''));
    }
    await writeAtomically(join(building, 'bagit.txt'), DECLARATION);
    await writeAtomically(join(building, 'bag-info.txt'), bagInfo(folio, octets, paths.length));
    const tags = ['bag-info.txt', 'bagit.txt', ...ALGORITHMS.map((name) => `manifest-${name}.txt`)];
    for (const name of ALGORITHMS) {
      const lines = await Promise.all(
        tags.map(async (tag) => `${(await hashFile(join(building, tag), [name]))[name]}  ${tag}\n`),
      );
      await writeAtomically(join(building, `tagmanifest-${name}.txt`), lines.join(''));
    }
    await rm(target, { recursive: true, force: true });
    await rename(building, target);
  } catch (error) {
    await rm(building, { recursive: true, force: true });
    throw diskFault(error, target);
  }
}

function bagInfo(folio: Folio, octets: number, files: number): string {
  const plain = (text: string) => text.replace(/\s+/g, ' ').trim();
  const lines: [string, string | null][] = [
    ['Source-Organization', folio.publisher],
    ['External-Description', folio.title],
    ['External-Identifier', folio.identifier],
    ['Payload-Oxum', `${octets}.${files}`],
    ['Bag-Software-Agent', `${folio.software.name} ${folio.software.version}`],
  ];
  return lines.flatMap(([label, text]) => (text ? [`${label}: ${plain(text)}\n`] : [])).join('');
}

export const isBag = (folder: string): Promise<boolean> =>
  stat(join(folder, 'bagit.txt')).then(
    (s) => s.isFile(),
    () => false,
  );

/** Checks every manifest of a bag. */
export async function verifyBag(folder: string, onFile: () => void = () => {}): Promise<FixityReport> {
  const faults: string[] = [];
  if ((await readFile(join(folder, 'bagit.txt'), 'utf8')) !== DECLARATION)
    faults.push('bagit.txt: not the declaration of a BagIt 1.0 bag in UTF-8');
  const all = await filesBelow(folder);
  const wanted = new Map<string, Partial<Record<(typeof ALGORITHMS)[number], string>>>();
  for (const algorithm of ALGORITHMS) {
    for (const manifest of [`manifest-${algorithm}.txt`, `tagmanifest-${algorithm}.txt`]) {
      const text = await readFile(join(folder, manifest), 'utf8').catch(() => null);
      if (text === null) faults.push(`${manifest}: missing`);
      for (const [, sum = '', path = ''] of (text ?? '').matchAll(/^(\S+)\s+(.+)$/gm)) {
        const name = unescapePath(path);
        wanted.set(name, { ...wanted.get(name), [algorithm]: sum.toLowerCase() });
      }
    }
  }
  const there = new Set(all);
  const checked = await severalAtOnce([...wanted], async ([path, sums]) => {
    onFile();
    if (!there.has(path)) return `${path}: missing`;
    const names = ALGORITHMS.filter((name) => sums[name] !== undefined);
    const found = await hashFile(join(folder, path), names).catch(() => null);
    if (!found) return `${path}: cannot be read`;
    const wrong = names.find((name) => found[name] !== sums[name]);
    if (wrong) return `${path}: damaged, the ${wrong} checksum differs`;
    return names.length < ALGORITHMS.length ? `${path}: not in every manifest` : null;
  });
  faults.push(...checked.filter((fault) => fault !== null));
  for (const path of all)
    if (!wanted.has(path) && !path.startsWith('tagmanifest-'))
      faults.push(`${path}: unexpected, not in the manifests`);
  return { checked: wanted.size, faults };
}
