/** Fixity: the list of all files of a folio with their checksums, made and checked. */
import { readdirSync } from 'node:fs';
import { readFile, stat } from 'node:fs/promises';
import { join } from 'node:path';
import { setImmediate } from 'node:timers/promises';
import {
  MANIFEST_PATH,
  type Manifest,
  type ManifestFile,
  manifestSchema,
} from '../../../shared/artefacts/manifest.ts';
import { readJson } from '../../../shared/artefacts/read.ts';
import { InputFault } from '../../../shared/errors.ts';
import { writeArtefact } from '../../output/files.ts';
import { CRATE_FILE } from './record/crate.ts';
import { hashFile, severalAtOnce } from './record/hash-files.ts';

/**
 * Every file below a folder but the manifest, relative with forward slashes, sorted.
 * @param enter whether a folder is looked into, by its path below
 */
export async function folioFiles(
  folder: string,
  enter: (path: string) => boolean = () => true,
): Promise<string[]> {
  const files: string[] = [];
  const waiting = [''];
  for (let below = waiting.pop(); below !== undefined; below = waiting.pop()) {
    // Thousands of small folders: each a system call here, several hand-overs between threads elsewhere.
    for (const entry of readdirSync(join(folder, below), { withFileTypes: true })) {
      const path = `${below}${entry.name}`;
      if (!entry.isDirectory()) files.push(path);
      else if (enter(path)) waiting.push(`${path}/`);
    }
    if (waiting.length % 200 === 199) await setImmediate();
  }
  return files.filter((path) => path !== MANIFEST_PATH).sort();
}

/** Checksum of one file, in hexadecimal. */
export const sha256 = async (file: string): Promise<string> => (await hashFile(file, ['sha256'])).sha256;

const listed = async (folder: string, path: string): Promise<ManifestFile> => ({
  path,
  ...(await hashFile(join(folder, path), ['sha256'])),
});

/**
 * @param known checksums that were taken when a file was written, by its path; the others are read
 * @param addCrate is given every file but the crate, and writes the crate, which is listed too
 * @returns number and total size of the files listed
 */
export async function writeManifest(
  folder: string,
  software: Manifest['software'],
  known: ReadonlyMap<string, { readonly bytes: number; readonly sha256: string }> = new Map(),
  addCrate?: (files: readonly ManifestFile[]) => Promise<void>,
): Promise<{ files: number; bytes: number }> {
  const paths = (await folioFiles(folder)).filter((path) => path !== CRATE_FILE);
  const files = await severalAtOnce(paths, async (path) => {
    const sum = known.get(path);
    return sum ? { path, bytes: sum.bytes, sha256: sum.sha256 } : listed(folder, path);
  });
  if (addCrate) {
    await addCrate(files);
    files.push(await listed(folder, CRATE_FILE));
    files.sort((a, b) => (a.path < b.path ? -1 : 1));
  }
  await writeArtefact(join(folder, MANIFEST_PATH), manifestSchema, { version: 1, software, files });
  return { files: files.length, bytes: files.reduce((sum, { bytes }) => sum + bytes, 0) };
}

export interface FixityReport {
  readonly checked: number;
  /** One line per file that is damaged, missing or not listed. */
  readonly faults: readonly string[];
}

/** @throws InputFault when the folder holds no manifest */
export async function readManifest(folder: string): Promise<Manifest> {
  const file = join(folder, MANIFEST_PATH);
  const text = await readFile(file, 'utf8').catch((cause) => {
    throw new InputFault(
      {
        tag: 'missing-file',
        file: folder,
        expected: `a folio with ${MANIFEST_PATH}`,
        found: 'none',
        remedy: 'Name the folder that `stratafolio build` made.',
      },
      { cause },
    );
  });
  return readJson(text, file, manifestSchema);
}

/**
 * @param onFile is told of every file that was looked at
 * @throws InputFault when the folder holds no manifest
 */
export async function verifyFolio(
  folder: string,
  onFile: () => void = () => {},
  known?: Manifest,
): Promise<FixityReport> {
  const manifest = known ?? (await readManifest(folder));
  const faults = await severalAtOnce(manifest.files, async (entry) => {
    const fault = await fileFault(folder, entry);
    onFile();
    return fault;
  });
  const recorded = new Set(manifest.files.map((entry) => entry.path));
  const unexpected = (await folioFiles(folder)).filter((path) => !recorded.has(path));
  return {
    checked: manifest.files.length,
    faults: [
      ...faults.filter((fault) => fault !== null),
      ...unexpected.map((path) => `${path}: unexpected, not in the manifest`),
    ],
  };
}

async function fileFault(folder: string, entry: ManifestFile): Promise<string | null> {
  // The manifest is data: a path in it may not lead out of the folio.
  if (entry.path.split('/').includes('..') || entry.path.startsWith('/'))
    return `${entry.path}: leads out of the folio`;
  const path = join(folder, entry.path);
  const size = await stat(path).then(
    (s) => s.size,
    () => null,
  );
  if (size === null) return `${entry.path}: missing`;
  if (size !== entry.bytes) return `${entry.path}: damaged, ${size} bytes instead of ${entry.bytes}`;
  const sha256 = await hashFile(path, ['sha256']).then(
    (hashed) => hashed.sha256,
    () => null,
  );
  if (sha256 === null) return `${entry.path}: cannot be read`;
  return sha256 === entry.sha256 ? null : `${entry.path}: damaged, the checksum differs`;
}
