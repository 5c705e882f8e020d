/** What every key of every data file means, generated from the schemas that the files are checked by. */
import { z } from 'zod';
import { brickSchema } from '../../../../shared/artefacts/brick.ts';
import { evidenceSchema } from '../../../../shared/artefacts/evidence.ts';
import { findingsSchema } from '../../../../shared/artefacts/findings.ts';
import { folioSchema } from '../../../../shared/artefacts/folio.ts';
import { inputsSchema } from '../../../../shared/artefacts/inputs.ts';
import { layersSchema } from '../../../../shared/artefacts/layers.ts';
import { manifestSchema } from '../../../../shared/artefacts/manifest.ts';
import { measurementsSchema } from '../../../../shared/artefacts/measurements.ts';
import {
  netIndexSchema,
  netNamesSchema,
  netShardSchema,
  netTileSchema,
} from '../../../../shared/artefacts/net-lookup.ts';
import { netsSchema } from '../../../../shared/artefacts/nets.ts';
import { picturesSchema } from '../../../../shared/artefacts/pictures.ts';
import { placementSchema } from '../../../../shared/artefacts/placement.ts';
import { platesSchema } from '../../../../shared/artefacts/plates.ts';
import { reviewsSchema } from '../../../../shared/artefacts/reviews.ts';
import { selftestSchema } from '../../../../shared/artefacts/selftest.ts';
import { surveySchema } from '../../../../shared/artefacts/survey.ts';
import { withheldSchema } from '../../../../shared/artefacts/withheld.ts';

/** Files below data/ and below data/<scan>/, each with its schema. */
export const DATA_SCHEMAS: Readonly<Record<string, z.ZodType>> = {
  'folio.json': folioSchema,
  'inputs.json': inputsSchema,
  'manifest.json': manifestSchema,
  'reviews.json': reviewsSchema,
  '<scan>/survey.json': surveySchema,
  '<scan>/placement.json': placementSchema,
  '<scan>/evidence.json': evidenceSchema,
  '<scan>/layers.json': layersSchema,
  '<scan>/plates.json': platesSchema,
  '<scan>/brick.json': brickSchema,
  '<scan>/pictures.json': picturesSchema,
  '<scan>/findings.json': findingsSchema,
  '<scan>/selftest.json': selftestSchema,
  '<scan>/nets.json': netsSchema,
  '<scan>/nets/index.json': netIndexSchema,
  '<scan>/nets/tiles/<column>_<row>.json': netTileSchema,
  '<scan>/nets/shapes/<shard>.json': netShardSchema,
  '<scan>/nets/names.json': netNamesSchema,
  '<scan>/measurements.json': measurementsSchema,
  '<scan>/withheld.json': withheldSchema,
};

export interface DictionaryEntry {
  readonly file: string;
  /** Steps joined by dots; [] for the members of a list, * for any name. */
  readonly key: string;
  readonly type: string;
  /** From the ending of the name; empty for none. */
  readonly unit: string;
  readonly required: boolean;
  readonly meaning: string;
}

/** Endings of names and the units they stand for. */
const UNITS: readonly (readonly [RegExp, string])[] = [
  [/_um2$/, 'µm²'],
  [/_per_1000um2$/, '1/(1000 µm²)'],
  [/_um$|Um$/, 'µm'],
  [/_nm$/, 'nm'],
  [/_m$/, 'm'],
  [/_deg$/, 'degree'],
  [/_keV$/, 'keV'],
  [/_Gy$/, 'Gy'],
  [/_px$/, 'pixel'],
  [/^seconds_/, 's'],
  [/^bytes$/, 'byte'],
];

interface Json {
  readonly type?: string | readonly string[];
  readonly const?: unknown;
  readonly enum?: readonly unknown[];
  readonly description?: string;
  readonly properties?: Readonly<Record<string, Json>>;
  readonly required?: readonly string[];
  readonly items?: Json | readonly Json[];
  readonly prefixItems?: readonly Json[];
  readonly additionalProperties?: Json | boolean;
  readonly anyOf?: readonly Json[];
  readonly oneOf?: readonly Json[];
}

export function dataDictionary(): DictionaryEntry[] {
  return Object.entries(DATA_SCHEMAS).flatMap(([file, schema]) => {
    const json = z.toJSONSchema(schema, { unrepresentable: 'any', io: 'output' }) as Json;
    return [...entries(file, '', json, true, '')];
  });
}

function* entries(
  file: string,
  key: string,
  json: Json,
  required: boolean,
  inherited: string,
): Generator<DictionaryEntry> {
  const name = key.replace(/\[\]/g, '').split('.').at(-1) ?? '';
  const unit =
    UNITS.find(([ending]) => ending.test(name))?.[1] ?? (name === '*' || key.endsWith('[]') ? inherited : '');
  if (key !== '') yield { file, key, type: typeWords(json), unit, required, meaning: json.description ?? '' };
  for (const [inner, value] of Object.entries(json.properties ?? {})) {
    yield* entries(
      file,
      key ? `${key}.${inner}` : inner,
      value,
      json.required?.includes(inner) ?? false,
      unit,
    );
  }
  if (json.items && !Array.isArray(json.items)) yield* inside(file, `${key}[]`, json.items as Json, unit);
  if (json.additionalProperties && typeof json.additionalProperties === 'object')
    yield* entries(file, key ? `${key}.*` : '*', json.additionalProperties, false, unit);
  for (const one of json.anyOf ?? json.oneOf ?? []) yield* inside(file, key, one, unit);
}

/** The parts of a value whose own line was given already. */
function* inside(file: string, key: string, json: Json, unit: string): Generator<DictionaryEntry> {
  for (const entry of entries(file, key, json, true, unit)) if (entry.key !== key) yield entry;
}

function typeWords(json: Json): string {
  if (json.const !== undefined) return JSON.stringify(json.const);
  if (json.enum) return json.enum.map(String).join(' | ');
  const either = json.anyOf ?? json.oneOf;
  if (either) return [...new Set(either.map(typeWords))].join(' or ');
  if (json.prefixItems) return `list of ${json.prefixItems.length}`;
  if (json.type === 'array')
    return json.items && !Array.isArray(json.items) ? `list of ${typeWords(json.items as Json)}` : 'list';
  return typeof json.type === 'string' ? json.type : (json.type?.join(' or ') ?? 'any');
}
