/** The folio's entry for catalogues: DataCite metadata and a citation file. */
import { stringify } from 'yaml';
import type { Folio } from '../../../../shared/artefacts/folio.ts';
import type { Licence } from './licence.ts';

/** A bare DOI, or null for another kind of identifier. */
export const doiOf = (identifier: string | null): string | null =>
  identifier && /^10\.\d{4,}\/\S+$/.test(identifier) ? identifier : null;

/** Standard word for a value that is not known. @source DataCite Metadata Schema 4.6, appendix 3. */
const UNAVAILABLE = '(:unav)';

/**
 * @source DataCite Metadata Schema 4.6 (2024): the mandatory properties 1 to 5 and 10, and the recommended ones that a
 * campaign knows; names as in DataCite's JSON.
 */
export function dataCite(folio: Folio, licence: Licence | null): Record<string, unknown> {
  const doi = doiOf(folio.identifier);
  const named = (name: string | null) => name ?? UNAVAILABLE;
  return {
    ...(doi ? { doi, identifiers: [{ identifier: doi, identifierType: 'DOI' }] } : {}),
    ...(!doi && folio.identifier
      ? {
          alternateIdentifiers: [
            { alternateIdentifier: folio.identifier, alternateIdentifierType: 'as stated' },
          ],
        }
      : {}),
    creators: (folio.creators.length > 0 ? folio.creators : [{ name: UNAVAILABLE }]).map((creator) => ({
      name: creator.name,
      ...('orcid' in creator && creator.orcid
        ? {
            nameType: 'Personal',
            nameIdentifiers: [
              {
                nameIdentifier: `https://orcid.org/${creator.orcid}`,
                nameIdentifierScheme: 'ORCID',
                schemeUri: 'https://orcid.org',
              },
            ],
          }
        : {}),
      ...('affiliation' in creator && creator.affiliation
        ? { affiliation: [{ name: creator.affiliation }] }
        : {}),
    })),
    titles: [{ title: folio.title }],
    publisher: { name: named(folio.publisher) },
    ...(folio.year === null ? {} : { publicationYear: String(folio.year) }),
    types: { resourceTypeGeneral: 'Dataset', resourceType: 'X-ray images of a microchip beside its drawing' },
    language: 'en',
    subjects: [
      { subject: 'integrated circuits' },
      { subject: 'X-ray imaging' },
      { subject: folio.chip.name },
    ],
    ...(licence
      ? {
          rightsList: [
            licence.text === null
              ? { rights: licence.id }
              : {
                  rights: licence.name,
                  rightsUri: licence.address,
                  rightsIdentifier: licence.id,
                  rightsIdentifierScheme: 'SPDX',
                  schemeUri: 'https://spdx.org/licenses/',
                },
          ],
        }
      : {}),
    ...(folio.summary ? { descriptions: [{ description: folio.summary, descriptionType: 'Abstract' }] } : {}),
    formats: ['text/html', 'application/json', 'image/webp'],
    schemaVersion: 'http://datacite.org/schema/kernel-4',
  };
}

/**
 * CITATION.cff. Creators are entities: a campaign gives names as they should be cited, not their parts.
 * @source Citation File Format 1.2.0, guide to the schema: required keys, entity objects, preferred-citation.
 */
export function citationFile(folio: Folio, licence: Licence | null): string {
  const authors = (
    folio.creators.length > 0 ? folio.creators : [{ name: folio.publisher ?? 'The creators of this folio' }]
  ).map((creator) => ({
    name: creator.name,
    ...('orcid' in creator && creator.orcid ? { orcid: `https://orcid.org/${creator.orcid}` } : {}),
  }));
  const doi = doiOf(folio.identifier);
  return stringify({
    'cff-version': '1.2.0',
    message: 'If you use these data, please cite them as below.',
    type: 'dataset',
    title: folio.title,
    ...(folio.summary ? { abstract: folio.summary } : {}),
    authors,
    ...(doi ? { doi } : {}),
    ...(licence && licence.text !== null ? { license: licence.id } : {}),
    keywords: ['integrated circuits', 'X-ray imaging'],
    'preferred-citation': {
      type: 'data',
      title: folio.title,
      authors,
      ...(folio.year === null ? {} : { year: folio.year }),
      ...(folio.publisher ? { publisher: { name: folio.publisher } } : {}),
      ...(doi ? { doi } : {}),
    },
  });
}
