/** The archive record of a folio: written before the pages, apart from the crate, which lists them too. */
import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import type { z } from 'zod';
import { findingsSchema } from '../../../../shared/artefacts/findings.ts';
import type { Folio } from '../../../../shared/artefacts/folio.ts';
import { type Inputs, inputsSchema } from '../../../../shared/artefacts/inputs.ts';
import { layersSchema } from '../../../../shared/artefacts/layers.ts';
import type { ManifestFile } from '../../../../shared/artefacts/manifest.ts';
import { netsSchema } from '../../../../shared/artefacts/nets.ts';
import { readJson } from '../../../../shared/artefacts/read.ts';
import { csvText } from '../../../../shared/csv.ts';
import { writeArtefact, writeAtomically } from '../../../output/files.ts';
import { citationFile, dataCite } from './citation.ts';
import { CRATE_FILE, type CrateSource, crateMetadata } from './crate.ts';
import { dataDictionary } from './dictionary.ts';
import { JAVASCRIPT_EXAMPLE, PYTHON_EXAMPLE } from './examples.ts';
import { hashFile, severalAtOnce } from './hash-files.ts';
import { LICENCE_FILE, licenceFile, licenceOf } from './licence.ts';
import { findingsTable, layersTable, netsTable } from './tables.ts';

export interface InputFile {
  readonly path: string;
  /** Absolute. */
  readonly file: string;
  readonly role: Inputs['files'][number]['role'];
  readonly scan: string | null;
}

const json = (value: unknown): string => `${JSON.stringify(value, null, 1)}\n`;

/**
 * @param folder of the folio, which holds data/ with folio.json and the scans
 * @param known checksums of inputs that were read and have not changed since, by absolute path; the others are read
 * @returns the inputs with their checksums, for the crate
 */
export async function writeRecord(
  folder: string,
  folio: Folio,
  inputs: readonly InputFile[],
  known: ReadonlyMap<string, { readonly bytes: number; readonly sha256: string }> = new Map(),
): Promise<Inputs> {
  const files = await severalAtOnce(inputs, async ({ file, path, role, scan }) => {
    const { bytes, sha256 } = known.get(file) ?? (await hashFile(file, ['sha256']));
    return { path, role, scan, bytes, sha256 };
  });
  const listed: Inputs = { version: 1, files };
  const data = join(folder, 'data');
  await writeArtefact(join(data, 'inputs.json'), inputsSchema, listed);
  const licence = licenceOf(folio.licence);
  await writeAtomically(join(folder, LICENCE_FILE), licenceFile(licence));
  await writeAtomically(join(folder, 'CITATION.cff'), citationFile(folio, licence));
  await writeAtomically(join(folder, 'datacite.json'), json(dataCite(folio, licence)));
  const entries = dataDictionary();
  await writeAtomically(join(data, 'dictionary.json'), json({ version: 1, entries }));
  await writeAtomically(
    join(data, 'dictionary.csv'),
    csvText(
      ['file', 'key', 'type', 'unit', 'required', 'meaning'],
      entries.map((e) => [e.file, e.key, e.type, e.unit, e.required ? 'yes' : 'no', e.meaning]),
    ),
  );
  await writeAtomically(join(data, 'examples', 'voxel_to_die.py'), PYTHON_EXAMPLE);
  await writeAtomically(join(data, 'examples', 'voxel_to_die.mjs'), JAVASCRIPT_EXAMPLE);
  for (const { id } of folio.scans) await writeTables(join(data, id));
  return listed;
}

async function writeTables(folder: string): Promise<void> {
  const table = async <S extends z.ZodType>(
    name: string,
    schema: S,
    words: (value: z.output<S>) => string,
  ) => {
    const text = await readFile(join(folder, `${name}.json`), 'utf8').catch(() => null);
    if (text === null) return;
    await writeAtomically(join(folder, `${name}.csv`), words(readJson(text, `${name}.json`, schema)));
  };
  await table('layers', layersSchema, layersTable);
  await table('findings', findingsSchema, findingsTable);
  await table('nets', netsSchema, netsTable);
}

/** @param files every file of the folio but the crate and the manifest */
export async function writeCrate(
  folder: string,
  source: Omit<CrateSource, 'licence' | 'files'>,
  files: readonly ManifestFile[],
): Promise<void> {
  const crate = crateMetadata({ ...source, licence: licenceOf(source.folio.licence), files });
  await writeAtomically(join(folder, CRATE_FILE), json(crate));
}
