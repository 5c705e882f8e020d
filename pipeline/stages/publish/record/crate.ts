/**
 * ro-crate-metadata.json: every file of the folio, the instruments, the software, and how each file came about.
 * @source RO-Crate Metadata Specification 1.2: metadata descriptor, root data entity, data entities, provenance
 * ("Software used to create files": CreateAction with object, result, instrument, which the specification maps to PROV).
 */
import { createHash } from 'node:crypto';
import type { Acquisition, CampaignScan } from '../../../../shared/artefacts/campaign.ts';
import type { Folio } from '../../../../shared/artefacts/folio.ts';
import type { Inputs } from '../../../../shared/artefacts/inputs.ts';
import { doiOf } from './citation.ts';
import { LICENCE_FILE, type Licence } from './licence.ts';
import { describeFile, STAGES } from './stage-files.ts';

export const CRATE_FILE = 'ro-crate-metadata.json';
const SPECIFICATION = 'https://w3id.org/ro/crate/1.2';

export interface CrateSource {
  readonly folio: Folio;
  readonly licence: Licence | null;
  readonly inputs: Inputs;
  /** As campaign.yaml states them: the parameters of every stage. */
  readonly scans: readonly CampaignScan[];
  /** Libraries that take part, name and exact version. */
  readonly libraries: Readonly<Record<string, string>>;
  /** Every file of the folio but this one and the manifest, with forward slashes. */
  readonly files: readonly { readonly path: string; readonly bytes: number; readonly sha256: string }[];
}

type Entity = Record<string, unknown> & { '@id': string };
const link = (id: string) => ({ '@id': id });
const links = (ids: readonly string[]) => ids.map(link);

export function crateMetadata(source: CrateSource): Record<string, unknown> {
  const { folio, licence, files, inputs } = source;
  const software = `#${folio.software.name}`;
  const people = folio.creators.map(person);
  const actions = folio.scans.flatMap((scan) => scanActions(source, scan.id, software));
  const graph: Entity[] = [
    {
      '@id': CRATE_FILE,
      '@type': 'CreativeWork',
      conformsTo: link(SPECIFICATION),
      about: link('./'),
    },
    {
      '@id': './',
      '@type': 'Dataset',
      name: folio.title,
      description: folio.summary || `X-ray images of the chip ${folio.chip.name} beside its drawing.`,
      // The year that the campaign states: a folio built twice has to be the same.
      datePublished: String(folio.year ?? 'unknown'),
      license:
        licence && licence.text !== null
          ? link(licence.address)
          : (licence?.id ?? 'none stated: all rights reserved'),
      ...(doiOf(folio.identifier) ? { identifier: link(`https://doi.org/${folio.identifier}`) } : {}),
      creator: links(people.map((one) => one['@id'])),
      ...(folio.publisher ? { publisher: link('#publisher') } : {}),
      hasPart: links(files.map(({ path }) => encode(path))),
      mentions: links(actions.map((one) => one['@id'])),
    },
    ...(licence && licence.text !== null
      ? [
          {
            '@id': licence.address,
            '@type': 'CreativeWork',
            name: licence.name,
            description: `Its text is in ${LICENCE_FILE}.`,
          },
        ]
      : []),
    ...(doiOf(folio.identifier)
      ? [
          {
            '@id': `https://doi.org/${folio.identifier}`,
            '@type': 'PropertyValue',
            propertyID: 'https://registry.identifiers.org/registry/doi',
            value: `doi:${folio.identifier}`,
          },
        ]
      : []),
    ...people,
    ...affiliations(folio),
    ...(folio.publisher ? [{ '@id': '#publisher', '@type': 'Organization', name: folio.publisher }] : []),
    ...softwareEntities(source, software),
    ...inputEntities(inputs),
    ...folio.scans.flatMap(({ id, title, acquisition }) => instrument(id, title, acquisition)),
    ...actions,
    ...files.map(({ path, bytes, sha256 }) => ({
      '@id': encode(path),
      '@type': 'File',
      name: path,
      ...describeFile(path),
      contentSize: String(bytes),
      sha256,
    })),
  ];
  return { '@context': `${SPECIFICATION}/context`, '@graph': graph };
}

/** Paths are URI references: signs that a URI has a use for are escaped. */
const encode = (path: string): string => path.split('/').map(encodeURIComponent).join('/');

const personId = (creator: Folio['creators'][number], n: number): string =>
  creator.orcid ? `https://orcid.org/${creator.orcid}` : `#creator-${n + 1}`;

const organisations = (folio: Folio): string[] => [
  ...new Set(folio.creators.flatMap(({ affiliation }) => affiliation ?? [])),
];

function person(creator: Folio['creators'][number], n: number, all: Folio['creators']): Entity {
  const names = [...new Set(all.flatMap(({ affiliation }) => affiliation ?? []))];
  return {
    '@id': personId(creator, n),
    '@type': 'Person',
    name: creator.name,
    ...(creator.affiliation
      ? { affiliation: link(`#organisation-${names.indexOf(creator.affiliation) + 1}`) }
      : {}),
  };
}

const affiliations = (folio: Folio): Entity[] =>
  organisations(folio).map((name, n) => ({ '@id': `#organisation-${n + 1}`, '@type': 'Organization', name }));

function softwareEntities({ folio, libraries }: CrateSource, software: string): Entity[] {
  const parts = Object.entries(libraries);
  return [
    {
      '@id': software,
      '@type': 'SoftwareApplication',
      name: folio.software.name,
      version: folio.software.version,
      softwareRequirements: links(parts.map(([name]) => `#library-${name}`)),
    },
    ...parts.map(([name, version]) => ({
      ...{ '@id': `#library-${name}`, '@type': 'SoftwareApplication', name, version },
    })),
  ];
}

const inputId = (role: string, scan: string | null): string => `#input-${scan ? `${scan}-` : ''}${role}`;

/** Inputs by role, each with a checksum over all of its files; the single ones stand in data/inputs.json. */
function inputEntities(inputs: Inputs): Entity[] {
  const groups = new Map<string, Inputs['files'][number][]>();
  for (const file of inputs.files) {
    const id = inputId(file.role, file.scan);
    groups.set(id, [...(groups.get(id) ?? []), file]);
  }
  return [...groups].map(([id, files]) => ({
    '@id': id,
    '@type': 'CreativeWork',
    name:
      files.length === 1
        ? files[0]!.path
        : `${files.length} files, ${files[0]!.path} to ${files.at(-1)!.path}`,
    description:
      files.length === 1
        ? `Input of the folio: ${files[0]!.role}.`
        : 'Input of the folio. The checksum is that of the lines "<sha256>  <path>" of its files in this order, as data/inputs.json lists them.',
    contentSize: String(files.reduce((sum, { bytes }) => sum + bytes, 0)),
    sha256:
      files.length === 1
        ? files[0]!.sha256
        : createHash('sha256')
            .update(files.map(({ path, sha256 }) => `${sha256}  ${path}\n`).join(''))
            .digest('hex'),
    isPartOf: link('data/inputs.json'),
  }));
}

function instrument(scan: string, title: string, acquisition: Acquisition | null): Entity[] {
  if (!acquisition) return [];
  const settings = Object.entries(acquisition).filter(
    ([key]) => !['technique', 'facility', 'notes'].includes(key),
  );
  return [
    {
      '@id': `#instrument-${scan}`,
      '@type': 'IndividualProduct',
      name: acquisition.technique ?? `Instrument of the scan ${title}`,
      ...(acquisition.facility ? { description: `At ${acquisition.facility}.` } : {}),
      ...(acquisition.notes ? { disambiguatingDescription: acquisition.notes } : {}),
      additionalProperty: links(settings.map(([key]) => `#setting-${scan}-${key}`)),
    },
    ...settings.map(([key, value]) => ({
      ...{ '@id': `#setting-${scan}-${key}`, '@type': 'PropertyValue', name: key, value: String(value) },
    })),
  ];
}

/** How each group of files of one scan came about, stage by stage. */
function scanActions(source: CrateSource, scan: string, software: string): Entity[] {
  const { files, inputs, scans, folio } = source;
  const own = files.map(({ path }) => path).filter((path) => path.startsWith(`data/${scan}/`));
  const stated = scans.find(({ id }) => id === scan);
  const inputIds = [
    ...new Set(
      inputs.files
        .filter(
          (file) =>
            file.scan === scan ||
            (file.scan === null && ['campaign', 'process', 'layout'].includes(file.role)),
        )
        .map((file) => inputId(file.role, file.scan)),
    ),
  ];
  const settings = stated ? parameters(scan, stated) : [];
  const acquired = folio.scans.find(({ id }) => id === scan)?.acquisition;
  const acquire: Entity[] = acquired
    ? [
        {
          '@id': `#acquire-${scan}`,
          '@type': 'CreateAction',
          name: 'acquire',
          description: 'The acquisition that the volume comes from, as the campaign states it.',
          instrument: link(`#instrument-${scan}`),
          result: links(inputIds.filter((id) => /-(?:volume|picture)$/.test(id))),
        },
      ]
    : [];
  const made = STAGES.flatMap(({ stage, words, makes, uses }) => {
    const results = own.filter((path) => makes.some((part) => path.startsWith(`data/${scan}/${part}`)));
    if (results.length === 0) return [];
    const read = own.filter((path) => uses.some((part) => path === `data/${scan}/${part}`));
    return [
      {
        '@id': `#${stage}-${scan}`,
        '@type': 'CreateAction',
        name: stage,
        description: words,
        instrument: link(software),
        object: links([...inputIds, ...read.map(encode)]),
        result: links(results.map(encode)),
        additionalProperty: links(settings.map((one) => one['@id'])),
      },
    ];
  });
  return [...acquire, ...made, ...(made.length > 0 ? settings : [])];
}

/** Words, and paths, which the inputs name without the folders of this machine. */
const NO_PARAMETERS = new Set(['id', 'title', 'acquisition', 'volume', 'image', 'placement']);

function parameters(scan: string, stated: CampaignScan): Entity[] {
  const kept = Object.entries(stated).filter(([key]) => !NO_PARAMETERS.has(key));
  return kept.map(([key, value]) => ({
    '@id': `#parameter-${scan}-${key}`,
    '@type': 'PropertyValue',
    name: key,
    value: typeof value === 'string' ? value : JSON.stringify(value),
  }));
}
