/** The archive record of a small folio, held against what others wrote: validators, processors, system programs. */
import { spawnSync } from 'node:child_process';
import {
  appendFileSync,
  cpSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest';
import { parse } from 'yaml';
import { silentProgress } from '../../../pipeline/output/progress.ts';
import { buildFolio } from '../../../pipeline/run.ts';
import { verifyBag } from '../../../pipeline/stages/publish/bag.ts';
import { verifyFolio } from '../../../pipeline/stages/publish/manifest.ts';
import { type Placement, placementSchema } from '../../../shared/artefacts/placement.ts';
import { platesSchema } from '../../../shared/artefacts/plates.ts';
import { CAMPAIGN, METAL, makeCampaign, valueAt } from '../../fixtures/campaign/make-campaign.ts';

const PATIENT_MS = 480_000;
const load = createRequire(import.meta.url);
let work: string;
let folio: string;
let crate: { '@context': unknown; '@graph': Record<string, unknown>[] };

beforeAll(async () => {
  work = mkdtempSync(join(tmpdir(), 'stratafolio-record-'));
  const campaign = join(work, 'campaign');
  mkdirSync(campaign);
  await makeCampaign(campaign);
  writeFileSync(
    join(campaign, 'campaign.yaml'),
    CAMPAIGN.replace(
      'licence: CC0-1.0',
      'licence: CC-BY-4.0\nyear: 2026\npublisher: Example Institute\nidentifier: 10.5555/example\n' +
        'creators: [{ name: A. Example, orcid: 0000-0002-1825-0097, affiliation: Example Institute }, { name: B. Sample }]',
    ).replace(
      '    voxel_nm: 100',
      '    voxel_nm: 100\n    acquisition: { technique: X-ray laminography, energy_keV: 8.0 }',
    ),
  );
  folio = join(work, 'folio');
  await buildFolio(campaign, {
    out: folio,
    dataOnly: true,
    bag: true,
    zip: true,
    zarr: true,
    tiff: true,
    jobs: 2,
    progress: silentProgress,
  });
  crate = JSON.parse(readFileSync(join(folio, 'ro-crate-metadata.json'), 'utf8'));
}, PATIENT_MS);
afterAll(() => rmSync(work, { recursive: true, force: true }));

const filesBelow = (folder: string): string[] =>
  readdirSync(folder, { recursive: true, withFileTypes: true })
    .filter((entry) => entry.isFile())
    .map((entry) => join(entry.parentPath, entry.name).slice(folder.length + 1));

describe('the crate', () => {
  it('passes the validator of ro-crate 3.7 (npm)', async () => {
    // It would fetch the context; what it gets is the copy that the package carries.
    vi.stubGlobal('fetch', async () => new Response(JSON.stringify(load('ro-crate/lib/context.json'))));
    const { Validator } = load('ro-crate/lib/validator.js');
    const errorsOf = async (graph: readonly Record<string, unknown>[]) => {
      const validator = new Validator();
      validator.parseJSON(JSON.stringify({ ...crate, '@graph': graph }));
      await validator.validate();
      return validator.results.filter(({ status }: { status: string }) => status === 'error');
    };
    expect(await errorsOf(crate['@graph'])).toEqual([]);
    const nameless = crate['@graph'].map((entity) =>
      entity['@id'] === './' ? { ...entity, name: undefined, datePublished: undefined } : entity,
    );
    expect(await errorsOf(nameless)).not.toEqual([]);
    vi.unstubAllGlobals();
  });

  it('is JSON-LD: every key is defined by the context of RO-Crate 1.2, every reference leads to an entity', async () => {
    // The context as the package ro-crate carries it; the processor is jsonld 9 (npm).
    const jsonld = load('jsonld');
    const context = load('ro-crate/lib/context.json');
    const expanded = (await jsonld.expand({ ...crate, '@context': context['@context'] } as never, {
      safe: true,
      base: 'https://folio.invalid/',
    })) as Record<string, unknown>[];
    expect(expanded.length).toBe(crate['@graph'].length);
    const ids = new Set(crate['@graph'].map((entity) => entity['@id']));
    const dangling = crate['@graph'].flatMap((entity) =>
      Object.entries(entity)
        .filter(([key]) => !['conformsTo', '@id'].includes(key))
        .flatMap(([, value]) => [value].flat())
        .flatMap((value) => (value && typeof value === 'object' && '@id' in value ? [value['@id']] : []))
        .filter((id) => !ids.has(id)),
    );
    expect(dangling).toEqual([]);
  });

  it('describes every file, and says which stage made it from what', () => {
    const listed = crate['@graph']
      .filter((entity) => entity['@type'] === 'File')
      .map((entity) => entity['@id']);
    const there = filesBelow(folio).filter(
      (path) => !['data/manifest.json', 'ro-crate-metadata.json'].includes(path),
    );
    expect(listed.sort()).toEqual(there.sort());
    const plate = crate['@graph'].find((entity) => entity['@id'] === '#plate-fine')!;
    expect(plate.instrument).toEqual({ '@id': '#stratafolio' });
    expect(JSON.stringify(plate.object)).toContain('#input-fine-volume');
    expect(JSON.stringify(plate.result)).toContain('data/fine/plates.json');
    expect(JSON.stringify(crate)).not.toContain(work);
  });
});

it('inputs carry the checksums that sha256sum gives (coreutils)', (context) => {
  const { files } = JSON.parse(readFileSync(join(folio, 'data', 'inputs.json'), 'utf8'));
  const lines = files.map((f: { sha256: string; path: string }) => `${f.sha256}  ${f.path}\n`).join('');
  const checked = spawnSync('sha256sum', ['-c', '--quiet', '-'], {
    cwd: join(work, 'campaign'),
    input: lines,
  });
  if (checked.error) return context.skip('sha256sum is not there');
  expect(checked.status).toBe(0);
  expect(files.length).toBe(34);
});

describe('the bag', () => {
  it('is as RFC 8493 asks, and sha256sum and sha512sum (coreutils) agree with its manifests', (context) => {
    const bag = join(work, 'folio-bag');
    expect(readFileSync(join(bag, 'bagit.txt'), 'utf8')).toBe(
      'BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n',
    );
    for (const name of ['sha256', 'sha512']) {
      for (const kind of ['manifest', 'tagmanifest']) {
        const { status, error } = spawnSync(`${name}sum`, ['-c', '--quiet', `${kind}-${name}.txt`], {
          cwd: bag,
        });
        if (error) return context.skip(`${name}sum is not there`);
        expect(status).toBe(0);
      }
      const lines = readFileSync(join(bag, `manifest-${name}.txt`), 'utf8')
        .trim()
        .split('\n');
      expect(lines.length).toBe(filesBelow(join(bag, 'data')).length);
    }
    const bytes = filesBelow(join(bag, 'data')).reduce(
      (sum, path) => sum + readFileSync(join(bag, 'data', path)).length,
      0,
    );
    expect(readFileSync(join(bag, 'bag-info.txt'), 'utf8')).toContain(
      `Payload-Oxum: ${bytes}.${filesBelow(join(bag, 'data')).length}`,
    );
  });

  it('is verified file by file', async () => {
    const bag = join(work, 'bag-copy');
    cpSync(join(work, 'folio-bag'), bag, { recursive: true });
    expect((await verifyBag(bag)).faults).toEqual([]);
    appendFileSync(join(bag, 'data/data/fine/layers.json'), ' ');
    rmSync(join(bag, 'data/CITATION.cff'));
    writeFileSync(join(bag, 'data/stray.txt'), '');
    expect((await verifyBag(bag)).faults.join('\n')).toBe(
      'data/CITATION.cff: missing\n' +
        'data/data/fine/layers.json: damaged, the sha256 checksum differs\n' +
        'data/stray.txt: unexpected, not in the manifests',
    );
  });
});

it('verify names what is damaged, missing and unexpected', async () => {
  const copy = join(work, 'copy');
  cpSync(folio, copy, { recursive: true });
  appendFileSync(join(copy, 'data/fine/layers.json'), ' ');
  rmSync(join(copy, 'CITATION.cff'));
  writeFileSync(join(copy, 'stray.txt'), '');
  const { faults, checked } = await verifyFolio(copy);
  expect(checked).toBe(filesBelow(folio).length - 1);
  expect(faults.map((line) => line.replace(/,.*/, ''))).toEqual([
    'CITATION.cff: missing',
    'data/fine/layers.json: damaged',
    'stray.txt: unexpected',
  ]);
});

it('the archive file unpacks to the folio (unzip or Python)', (context) => {
  const out = join(work, 'unpacked');
  const script = 'import sys, zipfile; zipfile.ZipFile(sys.argv[1]).extractall(sys.argv[2])';
  const { error, status } = spawnSync('python3', ['-c', script, join(work, 'folio.zip'), out]);
  if (error) return context.skip('Python is not there');
  expect(status).toBe(0);
  expect(filesBelow(join(out, 'folio')).sort()).toEqual(filesBelow(folio).sort());
  expect(readFileSync(join(out, 'folio/data/manifest.json'))).toEqual(
    readFileSync(join(folio, 'data/manifest.json')),
  );
});

it('catalogue entries hold what DataCite 4.6 and CFF 1.2.0 ask for', () => {
  // Mandatory properties: DataCite Metadata Schema 4.6, table 1; required keys: CFF 1.2.0, guide to the schema.
  const dataCite = JSON.parse(readFileSync(join(folio, 'datacite.json'), 'utf8'));
  expect(dataCite).toMatchObject({
    doi: '10.5555/example',
    creators: [{ name: 'A. Example', nameType: 'Personal' }, { name: 'B. Sample' }],
    titles: [{ title: 'Three bars' }],
    publisher: { name: 'Example Institute' },
    publicationYear: '2026',
    types: { resourceTypeGeneral: 'Dataset' },
    rightsList: [{ rightsIdentifier: 'CC-BY-4.0' }],
  });
  const cff = parse(readFileSync(join(folio, 'CITATION.cff'), 'utf8'));
  expect(cff).toMatchObject({
    'cff-version': '1.2.0',
    title: 'Three bars',
    type: 'dataset',
    license: 'CC-BY-4.0',
  });
  expect(cff.message).toBeTruthy();
  expect(cff.authors[0]).toEqual({ name: 'A. Example', orcid: 'https://orcid.org/0000-0002-1825-0097' });
  expect(readFileSync(join(folio, 'LICENCE.txt'), 'utf8')).toContain(
    'Creative Commons Attribution 4.0 International',
  );
});

it('an outside reader of citation files makes of CITATION.cff what the campaign says', async () => {
  const { Cite } = await import('@citation-js/core');
  // It makes itself known to the core; it has no types of its own.
  await import('@citation-js/plugin-cff' as string);
  const [data, preferred] = new Cite(readFileSync(join(folio, 'CITATION.cff'), 'utf8')).data;
  expect(data).toMatchObject({ type: 'dataset', title: 'Three bars', DOI: '10.5555/example' });
  expect(data?.author).toHaveLength(2);
  expect(preferred).toMatchObject({
    title: 'Three bars',
    publisher: 'Example Institute',
    issued: { 'date-parts': [[2026]] },
  });
}, 20_000);

describe('worked examples', () => {
  const bent: Placement = {
    ...JSON.parse(
      '{"version":1,"score":1,"runner_up":null,"residual_um":null,"uncertainty_um":null,"doubts":[]}',
    ),
    ...{ source: 'landmarks', verdict: 'locked', seen_from: 'front', order: 'top-first', method: 'by hand' },
    voxel_to_die_um: [
      [0.1, 0.01, 0, 10],
      [0, -0.1, 0.02, 24],
      [0.001, 0, -0.1, 3],
    ],
    warp: {
      origin_um: [9, 19],
      step_um: 3,
      shape: [2, 3],
      dx_um: [0, 1, 2, 3, 4, 5],
      dy_um: [1, 1, 1, 2, 2, 2],
      dz_um: [0, 0, 0, 0.5, 0.5, 0.5],
    },
  };
  // By hand: (16, 10, 4) lies at X 11.7, Y 23.08, Z 2.616 without the warp. u = 0.9, v = (23.08 - 19) / 3 held at 1.
  // There dx = 3 + 0.9, dy = 2, dz = 0.5.
  const expected = [15.6, 25.08, 3.116];
  it.each([
    ['python3', 'voxel_to_die.py'],
    [process.execPath, 'voxel_to_die.mjs'],
  ])('%s gives the place that was worked out by hand', (program, script) => {
    const file = join(work, 'bent.json');
    writeFileSync(file, JSON.stringify(placementSchema.parse(bent)));
    const { stdout, error } = spawnSync(
      program,
      [join(folio, 'data/examples', script), file, '16', '10', '4'],
      { encoding: 'utf8' },
    );
    if (error) return;
    const place = stdout.trim().split(/\s+/).map(Number);
    place.forEach((value, n) => expect(value).toBeCloseTo(expected[n]!, 9));
    expect(place).toHaveLength(3);
  });
});

it('the dictionary explains keys with their units', () => {
  const { entries } = JSON.parse(readFileSync(join(folio, 'data/dictionary.json'), 'utf8'));
  const find = (file: string, key: string) =>
    entries.find((e: { file: string; key: string }) => e.file === file && e.key === key);
  expect(find('<scan>/placement.json', 'uncertainty_um')).toMatchObject({ unit: 'µm' });
  expect(find('<scan>/findings.json', 'findings[].area_um2')).toMatchObject({ unit: 'µm²', type: 'number' });
  expect(find('<scan>/plates.json', 'path').meaning).toContain('{index}');
  // Every JSON file of the folio is explained, apart from the dictionary itself.
  const names = new Set(entries.map((e: { file: string }) => e.file.replace(/<[a-z]+>/g, '*')));
  const unexplained = filesBelow(join(folio, 'data'))
    .filter((path) => path.endsWith('.json') && path !== 'dictionary.json' && !path.includes('.zarr/'))
    .map((path) =>
      path
        .replace(/^fine/, '*')
        .replace(/tiles\/\d+_\d+/, 'tiles/*_*')
        .replace(/shapes\/\d+/, 'shapes/*'),
    )
    .filter((path) => !names.has(path));
  expect([...new Set(unexplained)]).toEqual([]);
});

it('plates as TIFF hold the greys at the places of the die, read back with geotiff (npm)', async () => {
  const { fromFile } = await import('geotiff');
  const plates = platesSchema.parse(JSON.parse(readFileSync(join(folio, 'data/fine/plates.json'), 'utf8')));
  const { grid, z_um } = plates;
  const names = readdirSync(join(folio, 'data/fine/plates-tiff')).sort();
  expect(names).toHaveLength(z_um.length);
  // The ideal value at a place of the die, from the formula that the volume was made by.
  const plateAt = (z: number) =>
    z_um.reduce((a, b, n) => (Math.abs(b - z) < Math.abs(z_um[a]! - z) ? n : a), 0);
  const greyAt = async (x: number, y: number, z: number): Promise<number> => {
    const image = await (await fromFile(join(folio, 'data/fine/plates-tiff', names[plateAt(z)]!))).getImage();
    expect([image.getWidth(), image.getHeight()]).toEqual([grid.width_px, grid.height_px]);
    // TIFF 6.0: pixels per centimetre (unit 3).
    const tags = image.getFileDirectory() as unknown as { getValue(name: string): unknown };
    expect(tags.getValue('ResolutionUnit')).toBe(3);
    const [greys] = (await image.readRasters()) as unknown as [Uint8Array];
    const column = Math.round((x - grid.origin_um[0]) / grid.pixel_um);
    const row = Math.round((grid.origin_um[1] - y) / grid.pixel_um);
    return greys[row * grid.width_px + column]!;
  };
  for (const [x, y, z] of [
    [11, 23, 0.9],
    [15.2, 22.3, 2.2],
  ] as const) {
    expect(valueAt(x, y, z)).toBe(METAL);
    expect(await greyAt(x, y, z)).toBeGreaterThan(200);
  }
  expect(valueAt(12.6, 21, 0.9)).not.toBe(METAL);
  expect(await greyAt(12.6, 21, 0.9)).toBeLessThan(60);
});

describe('plates as OME-Zarr', () => {
  // Read back with zarrita (npm), which had no part in the writing.
  const open = async (path: string) => {
    const { default: FileSystemStore } = await import('@zarrita/storage/fs');
    const zarr = await import('zarrita');
    const root = zarr.root(new FileSystemStore(join(folio, 'data/fine/plates.zarr')));
    return { zarr, node: root.resolve(path) };
  };
  it('hold the greys of the tiles at the places of the die', async () => {
    const { zarr, node } = await open('0');
    const array = await zarr.open.v3(node, { kind: 'array' });
    const plates = platesSchema.parse(JSON.parse(readFileSync(join(folio, 'data/fine/plates.json'), 'utf8')));
    expect(array.shape).toEqual([plates.z_um.length, plates.grid.height_px, plates.grid.width_px]);
    const { data } = (await zarr.get(array)) as { data: Uint8Array };
    const group = await zarr.open.v3((await open('')).node, { kind: 'group' });
    const { version, multiscales } = group.attrs.ome as {
      version: string;
      multiscales: {
        datasets: { coordinateTransformations: [{ scale: number[] }, { translation: number[] }] }[];
      }[];
    };
    expect(version).toBe('0.5');
    const [{ scale }, { translation }] = multiscales[0]!.datasets[0]!.coordinateTransformations;
    // The ideal value at a place of the die, from the formula that the volume was made by.
    const greyAt = (x: number, y: number, z: number) => {
      const index = [z, y, x].map((um, axis) => Math.round((um - translation[axis]!) / scale[axis]!));
      return data[(index[0]! * array.shape[1]! + index[1]!) * array.shape[2]! + index[2]!]!;
    };
    for (const [x, y, z] of [
      [11, 23, 0.9],
      [13.3, 21, 0.9],
      [15.2, 22.3, 2.2],
    ] as const) {
      expect(valueAt(x, y, z)).toBe(METAL);
      expect(greyAt(x, y, z)).toBeGreaterThan(200);
      expect(greyAt(x - 0.8, y + (z > 2 ? 1 : 0), z)).toBeLessThan(z > 2 ? 60 : 256);
    }
    expect(greyAt(12.6, 21, 0.9)).toBeLessThan(60);
  });
  it('carry the drawing as labels', async () => {
    const { zarr, node } = await open('labels/layers/0');
    const array = await zarr.open.v3(node, { kind: 'array' });
    const { data } = (await zarr.get(array)) as { data: Uint8Array };
    expect(new Set(data)).toEqual(new Set([0, 1, 2]));
  });
});

it('the image manifest is read by @iiif/parser (npm), and names pictures that are there', async () => {
  const { Traverse } = await import('@iiif/parser');
  const file = join(folio, 'iiif/fine/manifest.json');
  const manifest = JSON.parse(readFileSync(file, 'utf8'));
  const met = { canvases: 0, pictures: [] as string[] };
  new Traverse({
    canvas: [
      (canvas) => {
        met.canvases++;
        return canvas;
      },
    ],
    contentResource: [
      (resource) => {
        if (typeof resource === 'object' && 'id' in resource) met.pictures.push(String(resource.id));
        return resource;
      },
    ],
  }).traverseManifest(manifest);
  // Thirty plates and three portraits.
  expect(met.canvases).toBe(33);
  expect(met.pictures).toHaveLength(33);
  for (const path of met.pictures) expect(existsSync(join(folio, 'iiif/fine', path)), path).toBe(true);
  expect(manifest.rights).toBe('http://creativecommons.org/licenses/by/4.0/');
});
