/** Reads the hand-over files of a folio at build time, each checked by its schema. */
import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import type { z } from 'zod';
import { type Brick, brickSchema } from '../../shared/artefacts/brick.ts';
import { type Evidence, evidenceSchema } from '../../shared/artefacts/evidence.ts';
import { type Findings, findingsSchema } from '../../shared/artefacts/findings.ts';
import { type Folio, type FolioScan, folioSchema } from '../../shared/artefacts/folio.ts';
import { type Layers, layersSchema } from '../../shared/artefacts/layers.ts';
import { type Measurements, measurementsSchema } from '../../shared/artefacts/measurements.ts';
import { type Nets, netsSchema } from '../../shared/artefacts/nets.ts';
import { type Pictures, picturesSchema } from '../../shared/artefacts/pictures.ts';
import { type Placement, placementSchema } from '../../shared/artefacts/placement.ts';
import { type Plates, platesSchema } from '../../shared/artefacts/plates.ts';
import { readJson } from '../../shared/artefacts/read.ts';
import { type Review, reviewsSchema } from '../../shared/artefacts/reviews.ts';
import { type Selftest, selftestSchema } from '../../shared/artefacts/selftest.ts';
import { type Survey, surveySchema } from '../../shared/artefacts/survey.ts';
import { type Withheld, withheldSchema } from '../../shared/artefacts/withheld.ts';
import { InputFault } from '../../shared/errors.ts';

export interface ScanArtefacts {
  readonly scan: FolioScan;
  readonly plates: Plates;
  readonly layers: Layers;
  readonly placement: Placement | null;
  readonly pictures: Pictures | null;
  readonly survey: Survey | null;
  /** What follows is there only where its stage ran; null otherwise. */
  readonly brick: Brick | null;
  readonly findings: Findings | null;
  readonly selftest: Selftest | null;
  readonly nets: Nets | null;
  readonly evidence: Evidence | null;
  /** What persons decided about findings of this scan, as the campaign records it. */
  readonly reviews: readonly Review[];
  /** null for a flat picture, and where nothing was measured. */
  readonly measurements: Measurements | null;
  /** null where nothing is withheld. */
  readonly withheld: Withheld | null;
}

/** Folder with folio.json, from the environment. @throws InputFault when it is not set */
export function dataFolder(): string {
  const folder = process.env.STRATAFOLIO_DATA;
  if (!folder) {
    throw new InputFault({
      tag: 'missing-file',
      file: 'STRATAFOLIO_DATA',
      expected: 'the absolute path of a folder with folio.json',
      found: 'nothing',
      remedy: 'Set the environment variable STRATAFOLIO_DATA for the site build.',
    });
  }
  return folder;
}

export const loadFolio = (data: string): Promise<Folio> => required(data, 'folio.json', folioSchema);

/**
 * All artefacts of one scan. A flat picture needs its plate and its layers only; a volume needs every file.
 * @throws InputFault when a file is missing, broken or contradicts another
 */
export async function loadScan(data: string, scan: FolioScan): Promise<ScanArtefacts> {
  const needed = scan.kind === 'volume';
  const other = <S extends z.ZodType>(name: string, schema: S) =>
    needed ? required(data, `${scan.id}/${name}`, schema) : optional(data, `${scan.id}/${name}`, schema);
  const own = <S extends z.ZodType>(name: string, schema: S) => optional(data, `${scan.id}/${name}`, schema);
  const [
    plates,
    layers,
    placement,
    pictures,
    survey,
    brick,
    findings,
    selftest,
    nets,
    evidence,
    measurements,
    withheld,
    record,
  ] = await Promise.all([
    required(data, `${scan.id}/plates.json`, platesSchema),
    required(data, `${scan.id}/layers.json`, layersSchema),
    other('placement.json', placementSchema),
    other('pictures.json', picturesSchema),
    other('survey.json', surveySchema),
    own('brick.json', brickSchema),
    own('findings.json', findingsSchema),
    own('selftest.json', selftestSchema),
    own('nets.json', netsSchema),
    own('evidence.json', evidenceSchema),
    own('measurements.json', measurementsSchema),
    own('withheld.json', withheldSchema),
    optional(data, 'reviews.json', reviewsSchema),
  ]);
  if (layers.plates.length !== plates.z_um.length || plates.z_um.length === 0) {
    throw new InputFault({
      tag: 'inconsistent',
      file: `${scan.id}/layers.json`,
      place: 'plates',
      expected: `${plates.z_um.length} plates as in plates.json, at least one`,
      found: `${layers.plates.length}`,
      remedy: 'Build the folio again.',
    });
  }
  const reviews = (record?.reviews ?? []).filter((review) => review.scan === scan.id);
  return {
    scan,
    plates,
    layers,
    placement,
    pictures,
    survey,
    brick,
    findings,
    selftest,
    nets,
    evidence,
    measurements,
    withheld,
    reviews,
  };
}

async function required<S extends z.ZodType>(data: string, name: string, schema: S): Promise<z.output<S>> {
  const value = await optional(data, name, schema);
  if (value !== null) return value;
  throw new InputFault({
    tag: 'missing-file',
    file: name,
    expected: 'a hand-over file of the folio',
    found: 'no file',
    remedy: 'Build the folio again.',
  });
}

async function optional<S extends z.ZodType>(
  data: string,
  name: string,
  schema: S,
): Promise<z.output<S> | null> {
  let text: string;
  try {
    text = await readFile(join(data, name), 'utf8');
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === 'ENOENT') return null;
    throw error;
  }
  return readJson(text, name, schema);
}
