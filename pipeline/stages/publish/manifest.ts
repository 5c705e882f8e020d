/** Fixity: the list of all files of a folio with their checksums, made and checked. */
import { createHash } from 'node:crypto';
import { createReadStream } from 'node:fs';
import { readdir, readFile, stat } from 'node:fs/promises';
import { join, relative, sep } from 'node:path';
import { MANIFEST_PATH, type Manifest, manifestSchema } from '../../../shared/artefacts/manifest.ts';
import { readJson } from '../../../shared/artefacts/read.ts';
import { InputFault } from '../../../shared/errors.ts';
import { writeArtefact } from '../../output/files.ts';

/** Every file below a folder but the manifest, relative with forward slashes, sorted. */
export async function folioFiles(folder: string): Promise<string[]> {
  const entries = await readdir(folder, { recursive: true, withFileTypes: true });
  return entries
    .filter((entry) => !entry.isDirectory())
    .map((entry) => relative(folder, join(entry.parentPath, entry.name)).split(sep).join('/'))
    .filter((path) => path !== MANIFEST_PATH)
    .sort();
}

export async function sha256(file: string): Promise<string> {
  const hash = createHash('sha256');
  for await (const chunk of createReadStream(file)) hash.update(chunk as Buffer);
  return hash.digest('hex');
}

async function sumOf(file: string): Promise<{ bytes: number; sha256: string }> {
  const data = await readFile(file);
  return { bytes: data.length, sha256: createHash('sha256').update(data).digest('hex') };
}

/**
 * @param known checksums that were taken when a file was written, by its path; the others are read
 * @returns number and total size of the files listed
 */
export async function writeManifest(
  folder: string,
  software: Manifest['software'],
  known: ReadonlyMap<string, { readonly bytes: number; readonly sha256: string }> = new Map(),
): Promise<{ files: number; bytes: number }> {
  const files: Manifest['files'] = [];
  let bytes = 0;
  for (const path of await folioFiles(folder)) {
    const sum = known.get(path) ?? (await sumOf(join(folder, path)));
    files.push({ path, bytes: sum.bytes, sha256: sum.sha256 });
    bytes += sum.bytes;
  }
  await writeArtefact(join(folder, MANIFEST_PATH), manifestSchema, { version: 1, software, files });
  return { files: files.length, bytes };
}

export interface FixityReport {
  readonly checked: number;
  /** One line per file that is damaged, missing or not listed. */
  readonly faults: readonly string[];
}

/** @throws InputFault when the folder holds no manifest */
export async function verifyFolio(folder: string, onFile: () => void = () => {}): Promise<FixityReport> {
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
  const manifest = readJson(text, file, manifestSchema);
  const faults: string[] = [];
  for (const entry of manifest.files) {
    const path = join(folder, entry.path);
    const size = await stat(path).then(
      (s) => s.size,
      () => null,
    );
    if (size === null) faults.push(`${entry.path}: missing`);
    else if (size !== entry.bytes)
      faults.push(`${entry.path}: damaged, ${size} bytes instead of ${entry.bytes}`);
    else if ((await sha256(path)) !== entry.sha256)
      faults.push(`${entry.path}: damaged, the checksum differs`);
    onFile();
  }
  const listed = new Set(manifest.files.map((entry) => entry.path));
  for (const path of await folioFiles(folder)) {
    if (!listed.has(path)) faults.push(`${path}: not in the manifest`);
  }
  return { checked: manifest.files.length, faults };
}
