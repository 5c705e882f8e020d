/** The folio as a schema.org Dataset, for search engines of data. @source schema.org 29: Dataset, Person, CreativeWork. */
import type { Folio } from '../../shared/artefacts/folio.ts';
import { doiAddress, licenceAddress } from './citation.ts';

/** Schema.org asks of a description that it has at least so many characters (Google's note, from memory). */
const LEAST_DESCRIPTION = 50;

export function datasetRecord(folio: Folio, plainSummary: string): Record<string, unknown> {
  const fallback = `X-ray images of the chip ${folio.chip.name}, plate by plate, placed on its layout where that could be done.`;
  return {
    '@context': 'https://schema.org',
    '@type': 'Dataset',
    name: folio.title,
    description:
      plainSummary.length >= LEAST_DESCRIPTION ? plainSummary : `${plainSummary} ${fallback}`.trim(),
    ...(folio.identifier ? { identifier: doiAddress(folio.identifier) } : {}),
    ...(folio.licence ? { license: licenceAddress(folio.licence) } : {}),
    ...(folio.year === null ? {} : { datePublished: String(folio.year) }),
    ...(folio.publisher ? { publisher: { '@type': 'Organization', name: folio.publisher } } : {}),
    creator: folio.creators.map((creator) => ({
      '@type': 'Person',
      ...(creator.orcid ? { '@id': `https://orcid.org/${creator.orcid}` } : {}),
      name: creator.name,
      ...(creator.affiliation ? { affiliation: { '@type': 'Organization', name: creator.affiliation } } : {}),
    })),
    measurementTechnique: [
      ...new Set(
        folio.scans.flatMap((scan) => (scan.acquisition?.technique ? [scan.acquisition.technique] : [])),
      ),
    ],
    variableMeasured: folio.scans.map((scan) => ({
      '@type': 'PropertyValue',
      name: scan.title,
      description: `Grey values of ${scan.kind === 'volume' ? 'plates' : 'a flat picture'} in the ${scan.frame === 'die' ? 'die frame' : 'frame of the scan'}`,
    })),
    distribution: [
      { '@type': 'DataDownload', encodingFormat: 'application/json', contentUrl: './data/manifest.json' },
    ],
  };
}

/** JSON as the text of a script element: nothing in it can end the element or begin another. */
export const scriptJson = (value: unknown): string =>
  JSON.stringify(value)
    .replaceAll('<', '\\u003c')
    .replaceAll('>', '\\u003e')
    .replaceAll('&', '\\u0026')
    .replaceAll('\u2028', '\\u2028')
    .replaceAll('\u2029', '\\u2029');
