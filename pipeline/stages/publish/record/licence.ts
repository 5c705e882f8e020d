/** The text of the licence that a campaign states. */
import { createRequire } from 'node:module';

/** Loaded when a licence is looked up: texts of all of them take a megabyte. */
const allLicences = (): Readonly<Record<string, { name: string; licenseText: string }>> =>
  createRequire(import.meta.url)('spdx-license-list/full');

export interface Licence {
  /** SPDX identifier as stated. */
  readonly id: string;
  readonly name: string;
  readonly address: string;
  /** null for an identifier that is none of SPDX. */
  readonly text: string | null;
}

/** @source SPDX License List, as the package spdx-license-list carries it. */
export function licenceOf(id: string | null): Licence | null {
  if (id === null) return null;
  const known = allLicences()[id];
  if (!known) return { id, name: id, address: id, text: null };
  return { id, name: known.name, address: `https://spdx.org/licenses/${id}`, text: known.licenseText };
}

/** Name of the file at the top of the folio. */
export const LICENCE_FILE = 'LICENCE.txt';

export function licenceFile(licence: Licence | null): string {
  if (!licence) return 'No licence is stated: all rights stay with the creators.\n';
  if (licence.text === null) return `The creators state this licence: ${licence.id}\n`;
  return `${licence.name} (${licence.id})\n${licence.address}\n\n${licence.text.trim()}\n`;
}
