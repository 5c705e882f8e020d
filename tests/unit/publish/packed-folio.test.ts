/**
 * A folio whose pictures are packed and whose secrets are withheld, beside the loose one of the same campaign: the same
 * places without data, the same drawing, greys apart by what their two codecs lose, and every file accounted for.
 */
import {
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { tilePixels } from '../../../pipeline/output/packed/tile-pixels.ts';
import { silentProgress } from '../../../pipeline/output/progress.ts';
import { buildFolio } from '../../../pipeline/run.ts';
import { verifyFolio } from '../../../pipeline/stages/publish/manifest.ts';
import { TIFF_FOLDER, tiffName } from '../../../pipeline/stages/publish/write-tiff.ts';
import { type Pictures, picturesSchema } from '../../../shared/artefacts/pictures.ts';
import { type Plates, platesSchema } from '../../../shared/artefacts/plates.ts';
import { readJson } from '../../../shared/artefacts/read.ts';
import { platePath } from '../../../shared/plate-path.ts';
import { maximumLevel } from '../../../shared/pyramid.ts';
import { CAMPAIGN } from '../../fixtures/campaign/make-campaign.ts';
import { makeWithheldCampaign, WITHHOLD } from '../../fixtures/campaign/withheld-campaign.ts';

const PATIENT_MS = 240_000;
let work: string;
const folio = (kind: string) => join(work, kind);

beforeAll(async () => {
  work = mkdtempSync(join(tmpdir(), 'stratafolio-packed-folio-'));
  const campaign = join(work, 'campaign');
  mkdirSync(campaign);
  await makeWithheldCampaign(campaign, '');
  for (const kind of ['loose', 'packed']) {
    writeFileSync(join(campaign, 'campaign.yaml'), `${CAMPAIGN}${WITHHOLD}\ntiles: ${kind}\n`);
    const options = { dataOnly: true, zarr: true, tiff: true, jobs: 2, progress: silentProgress };
    await buildFolio(campaign, { ...options, out: folio(kind) });
  }
}, PATIENT_MS);
afterAll(() => rmSync(work, { recursive: true, force: true }));

const read = <S extends Parameters<typeof readJson>[2]>(kind: string, name: string, schema: S) =>
  readJson(readFileSync(join(folio(kind), 'data/fine', name), 'utf8'), name, schema);
const plates = (kind: string): Plates => read(kind, 'plates.json', platesSchema);
const pictures = (kind: string): Pictures => read(kind, 'pictures.json', picturesSchema);

async function pixels(kind: string, path: string, tiles: Plates['tiles']): Promise<Uint8Array> {
  const { width_px: width, height_px: height } = plates(kind).grid;
  const level = maximumLevel({ width, height, tilePx: 256 });
  return (await tilePixels(join(folio(kind), 'data/fine'), path, tiles, level, 0, 0)).rgba;
}

describe('a packed folio', () => {
  it('states what it is, and has a file and a still for each picture', () => {
    expect(plates('loose').tiles).toMatchObject({ layout: 'deep-zoom', format: 'webp' });
    expect(plates('packed')).toMatchObject({
      path: 'plates/{index}.tif',
      tiles: { layout: 'packed-tiff', format: 'jpg', nodata: 'transparent' },
    });
    const count = plates('packed').z_um.length;
    const names = readdirSync(join(folio('packed'), 'data/fine/plates'));
    expect(names.filter((name) => name.endsWith('.tif'))).toHaveLength(count);
    expect(names).toHaveLength(2 * count);
    const { layers } = pictures('packed');
    for (const { portrait, render } of layers)
      for (const one of [portrait, render])
        if (one) expect(existsSync(join(folio('packed'), 'data/fine', one.path))).toBe(true);
    expect(layers.some(({ portrait }) => portrait)).toBe(true);
  });

  it('hides the same places, draws the same shapes, and shows nearly the same greys', async () => {
    const [loose, packed] = [plates('loose'), plates('packed')];
    expect(packed.z_um).toEqual(loose.z_um);
    let hidden = 0;
    for (let n = 0; n < loose.z_um.length; n += 5) {
      const a = await pixels('loose', platePath(loose.path, n), loose.tiles);
      const b = await pixels('packed', platePath(packed.path, n), packed.tiles);
      let [squares, count] = [0, 0];
      for (let p = 0; p < a.length; p += 4) {
        if (a[p + 3] !== b[p + 3]) throw new Error(`plate ${n}: opacity differs at ${p / 4}`);
        if (a[p + 3] === 0) hidden++;
        else {
          squares += (a[p]! - b[p]!) ** 2;
          count++;
        }
      }
      expect(Math.sqrt(squares / count)).toBeLessThan(4);
      for (const [kind, own] of [
        ['loose', a],
        ['packed', b],
      ] as const) {
        const file = join(folio(kind), 'data/fine', TIFF_FOLDER, tiffName(n, loose.z_um[n]!));
        const greys = await sharp(file).toColourspace('b-w').raw().toBuffer();
        for (let p = 0; p < greys.length; p++)
          expect(greys[p]).toBe(own[4 * p + 3] === 0 ? 0 : Math.max(1, own[4 * p]!));
      }
    }
    expect(hidden).toBeGreaterThan(100);
    const [from, to] = [pictures('loose'), pictures('packed')];
    for (const [n, { render }] of from.layers.entries()) {
      const other = to.layers[n]!.render;
      expect(other?.shapes).toBe(render?.shapes);
      if (!render || !other) continue;
      const a = await pixels('loose', render.path, from.render_tiles);
      const b = await pixels('packed', other.path, to.render_tiles);
      for (let p = 0; p < a.length; p += 4)
        if (a[p + 3] !== b[p + 3] || (a[p + 3] !== 0 && a[p] !== b[p]))
          throw new Error(`${render.path} differs`);
    }
  });

  it('verifies, names every file in its record, and gives plain images to IIIF and chunks to Zarr', async () => {
    expect((await verifyFolio(folio('packed'))).faults).toEqual([]);
    const crate = readFileSync(join(folio('packed'), 'ro-crate-metadata.json'), 'utf8');
    expect(crate).toContain('data/fine/plates/0000.tif');
    expect(crate).toContain('"image/tiff"');
    const manifest = JSON.parse(readFileSync(join(folio('packed'), 'iiif/fine/manifest.json'), 'utf8'));
    const addresses = manifest.items.map(
      (canvas: { items: { items: { body: { id: string } }[] }[] }) => canvas.items[0]!.items[0]!.body.id,
    );
    expect(addresses.length).toBeGreaterThanOrEqual(plates('packed').z_um.length);
    for (const address of addresses)
      expect((await sharp(join(folio('packed'), 'iiif/fine', address)).metadata()).format).toBe('webp');
    const chunks = (kind: string) =>
      readdirSync(join(folio(kind), 'data/fine/plates.zarr'), { recursive: true }).sort();
    expect(chunks('packed')).toEqual(chunks('loose'));
  });
});
