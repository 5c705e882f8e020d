/** How a folio is cited. */
import type { Folio } from '../../shared/artefacts/folio.ts';

const PRESENT_LICENCES: Readonly<Record<string, string>> = {
  'CC-BY-4.0': 'https://creativecommons.org/licenses/by/4.0/',
  'CC-BY-SA-4.0': 'https://creativecommons.org/licenses/by-sa/4.0/',
  'CC-BY-NC-4.0': 'https://creativecommons.org/licenses/by-nc/4.0/',
  'CC0-1.0': 'https://creativecommons.org/publicdomain/zero/1.0/',
};

/** Address of a licence's text: its own page where known, else the SPDX list's page of the identifier. */
export const licenceAddress = (spdx: string): string =>
  PRESENT_LICENCES[spdx] ?? `https://spdx.org/licenses/${encodeURIComponent(spdx)}.html`;

/** "Creators (Year): Title. Publisher. DOI", the order DataCite recommends. @source DataCite Metadata Schema 4.5 */
export function citation(folio: Folio): string {
  const creators = folio.creators.map((creator) => creator.name).join('; ');
  const head = [creators, folio.year === null ? '' : `(${folio.year})`].filter(Boolean).join(' ');
  const parts = [head ? `${head}: ${folio.title}` : folio.title];
  if (folio.publisher) parts.push(folio.publisher);
  if (folio.identifier) parts.push(doiAddress(folio.identifier));
  return parts.join('. ');
}

export const doiAddress = (identifier: string): string =>
  /^10\.\d{4,}\//.test(identifier) ? `https://doi.org/${identifier}` : identifier;
