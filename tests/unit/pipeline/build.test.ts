/** The command line from end to end on a campaign whose every voxel is known from a formula. */
import { cpSync, existsSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { folioSchema } from '../../../shared/artefacts/folio.ts';
import { layersSchema } from '../../../shared/artefacts/layers.ts';
import { picturesSchema } from '../../../shared/artefacts/pictures.ts';
import { placementSchema } from '../../../shared/artefacts/placement.ts';
import { type Plates, platesSchema } from '../../../shared/artefacts/plates.ts';
import { readJson } from '../../../shared/artefacts/read.ts';
import { reviewsSchema } from '../../../shared/artefacts/reviews.ts';
import { surveySchema } from '../../../shared/artefacts/survey.ts';
import { dieFromPixel } from '../../../shared/frames.ts';
import { plateGrey, platePath } from '../../../shared/plate-path.ts';
import { campaignWork, reviews, stratafolio } from '../../fixtures/campaign/command-line.ts';
import { BARS, CAMPAIGN, PROCESS, SHAPE, valueAt } from '../../fixtures/campaign/make-campaign.ts';

let work: string;
let model: string;
let campaign: Awaited<ReturnType<typeof campaignWork>>;

beforeAll(async () => {
  campaign = await campaignWork('build');
  ({ work, model } = campaign);
});
afterAll(() => campaign.remove());

/** Full-resolution pixels of a pyramid that fits one tile. */
async function tilePixels(descriptor: string, level: number): Promise<{ grey: number[]; opaque: boolean[] }> {
  const { data, info } = await sharp(`${descriptor.replace(/\.dzi$/, '')}_files/${level}/0_0.webp`)
    .ensureAlpha()
    .raw()
    .toBuffer({ resolveWithObject: true });
  const at = (n: number, channel: number) => data[n * info.channels + channel]!;
  const count = info.width * info.height;
  return {
    grey: Array.from({ length: count }, (_, n) => at(n, 0)),
    opaque: Array.from({ length: count }, (_, n) => at(n, info.channels - 1) > 0),
  };
}

describe('a build', () => {
  let data: string;
  let plates: Plates;
  const read = <S extends Parameters<typeof readJson>[2]>(name: string, schema: S) =>
    readJson(readFileSync(join(data, name), 'utf8'), name, schema);

  beforeAll(() => {
    writeFileSync(join(model, 'reviews.csv'), reviews('fine'));
    const result = stratafolio('build', model, '--data-only', '--out', join(work, 'folio'), '--jobs', '2');
    expect(result.stderr).not.toContain('fault');
    expect(result.status).toBe(0);
    // The model of this test draws no via: what one would look like cannot be known.
    expect(result.stdout).toMatch(/Doubts:\n +- fine: Nothing is drawn on via1 in the field[^\n]*\n(?! +- )/);
    data = join(work, 'folio', 'data', 'fine');
    plates = read('plates.json', platesSchema);
  }, 180_000);

  it('hands over artefacts of the schemas', () => {
    const placement = read('placement.json', placementSchema);
    expect(placement).toMatchObject({
      source: 'landmarks',
      verdict: 'locked',
      order: 'top-first',
      seen_from: 'front',
    });
    const flat = placement.voxel_to_die_um.flat();
    const truth = [0.1, 0, 0, 10, 0, -0.1, 0, 24.7, 0, 0, -0.1, 3];
    flat.forEach((value, n) => expect(value).toBeCloseTo(truth[n]!, 3));
    expect(read('survey.json', surveySchema)).toMatchObject({
      shape: { ...SHAPE },
      type: 'uint16',
      broken_slices: [],
    });
    const layers = read('layers.json', layersSchema);
    expect(layers.layers.map((l) => l.name)).toEqual(['metal1', 'via1', 'metal2']);
    expect(layers.plates).toHaveLength(SHAPE.nz);
    expect(
      readJson(readFileSync(join(work, 'folio', 'data', 'folio.json'), 'utf8'), 'folio.json', folioSchema)
        .scans[0]!.verdict,
    ).toBe('locked');
  });

  it('takes in what persons decided about findings', () => {
    const text = readFileSync(join(work, 'folio', 'data', 'reviews.json'), 'utf8');
    expect(readJson(text, 'reviews.json', reviewsSchema).reviews).toEqual([
      {
        scan: 'fine',
        id: 'F0003',
        kind: 'missing-via',
        layer: 'via1',
        x_um: 12.5,
        y_um: 20.1,
        decision: 'reject',
        comment: 'dust, seen twice',
        date: '2026-03-02',
      },
    ]);
  });

  it('puts every pixel of every plate where the die has it', async () => {
    const { grid } = plates;
    for (const [index, z] of plates.z_um.entries()) {
      const { grey: pixels, opaque } = await tilePixels(join(data, platePath(plates.path, index)), 6);
      for (let row = 0; row < grid.height_px; row++)
        for (let column = 0; column < grid.width_px; column++) {
          const [x, y] = dieFromPixel(grid, column, row);
          const n = row * grid.width_px + column;
          const nearEdge = BARS.some(({ box, z: span }) =>
            [
              Math.abs(x - box[0]),
              Math.abs(x - box[2]),
              Math.abs(y - box[1]),
              Math.abs(y - box[3]),
              Math.abs(z - span[0]),
              Math.abs(z - span[1]),
            ].some((d) => d < 0.25),
          );
          expect(opaque[n]).toBe(true);
          if (nearEdge) continue;
          const grey = plateGrey(plates.grey, index);
          const value = grey.black + (pixels[n]! / 255) * (grey.white - grey.black);
          // Lossy tiles: a few grey steps of (40000 - 10000) / 255.
          expect(Math.abs(value - valueAt(x, y, z))).toBeLessThan(1500);
        }
    }
  });

  it('renders the drawing exactly, and makes a portrait that shows it', async () => {
    const pictures = read('pictures.json', picturesSchema);
    const { grid } = plates;
    for (const entry of pictures.layers) {
      const bars = BARS.filter((bar) => bar.layer === entry.name);
      expect(entry.render === null).toBe(bars.length === 0);
      if (!entry.render) continue;
      expect(entry.render.shapes).toBe(bars.length);
      const render = await tilePixels(join(data, entry.render.path), 6);
      const portrait = await tilePixels(join(data, entry.portrait!.path), 6);
      for (let n = 0; n < grid.width_px * grid.height_px; n++) {
        const [x, y] = dieFromPixel(grid, n % grid.width_px, Math.floor(n / grid.width_px));
        const half = grid.pixel_um / 2;
        const overlap = (a: number, b: number, c: number, d: number) =>
          Math.max(0, Math.min(b, d) - Math.max(a, c));
        const exact =
          bars.reduce(
            (sum, { box }) =>
              sum + overlap(x - half, x + half, box[0], box[2]) * overlap(y - half, y + half, box[1], box[3]),
            0,
          ) /
          grid.pixel_um ** 2;
        // The drawing lies on the grid of the fit: landmarks are rounded to 0.1 nm.
        expect(Math.abs(render.grey[n]! - 255 * exact)).toBeLessThan(3);
        if (exact === 1 || exact === 0) {
          const bright = portrait.grey[n]! > 127;
          if (
            bars.every(({ box }) =>
              [x - box[0], x - box[2], y - box[1], y - box[3]].every((d) => Math.abs(d) > 0.25),
            )
          )
            expect(bright).toBe(exact === 1);
        }
      }
    }
  });

  it('passes its own fixity check, and fails it when a file changes', () => {
    expect(stratafolio('verify', join(work, 'folio'))).toMatchObject({ status: 0 });
    const folio = join(work, 'damaged');
    cpSync(join(work, 'folio'), folio, { recursive: true });
    writeFileSync(join(folio, 'data', 'fine', 'layers.json'), '{}');
    const verdict = stratafolio('verify', folio);
    expect(verdict.status).toBe(1);
    expect(verdict.stderr).toContain('data/fine/layers.json: damaged');
  });

  it('is the same whatever the number of threads', () => {
    const out = join(work, 'one-thread');
    expect(stratafolio('build', model, '--data-only', '--force', '--out', out, '--jobs', '1').status).toBe(0);
    expect(readFileSync(join(out, 'data', 'manifest.json'), 'utf8')).toBe(
      readFileSync(join(work, 'folio', 'data', 'manifest.json'), 'utf8'),
    );
  }, 180_000);
});

describe('a scan without a placement', () => {
  it('still gives plates, in its own frame, and says so', () => {
    const folder = campaign.copyOfModel();
    writeFileSync(join(folder, 'campaign.yaml'), CAMPAIGN.replace(/ {4}placement:.*\n/, ''));
    const result = stratafolio('build', folder, '--data-only');
    expect(result.status).toBe(0);
    expect(result.stdout).toContain('Where on the die this scan lies is not known');
    const plates = JSON.parse(readFileSync(join(folder, 'folio', 'data', 'fine', 'plates.json'), 'utf8'));
    expect(plates.frame).toBe('scan');
    const pictures = JSON.parse(readFileSync(join(folder, 'folio', 'data', 'fine', 'pictures.json'), 'utf8'));
    expect(pictures.layers.every((layer: { render: unknown }) => layer.render === null)).toBe(true);
  });
});

describe('the command line', () => {
  it.each([
    [['mend', 'x'], 'There is no command "mend"'],
    [['build'], '"build" needs <campaign>'],
    [['build', 'a', 'b'], 'what is "b"'],
    [['check', 'a', '--jobs', '2'], '"check" takes no --jobs'],
    [['build', 'a', '--jobs', 'many'], '--jobs takes a whole number'],
    [['build', 'a', '--memory', 'much'], '--memory takes an amount such as 800M or 2G'],
    [['build', 'a', '--engine', 'steam'], '--engine takes local or slurm'],
    [['build', 'a', '--colour'], '--colour'],
  ])('%j is wrong usage', (args, words) => {
    const result = stratafolio(...args);
    expect(result.status).toBe(2);
    expect(result.stderr).toContain(words);
  });

  it('makes a campaign to fill in, which its own schema accepts up to the missing files', () => {
    const folder = join(work, 'fresh');
    expect(stratafolio('new', folder).status).toBe(0);
    expect(existsSync(join(folder, 'process.yaml'))).toBe(true);
    const check = stratafolio('check', folder);
    expect(check.status).toBe(1);
    expect(check.stderr).toContain('layout/chip.gds');
    expect(stratafolio('new', folder)).toMatchObject({ status: 1 });
  });

  it('checks a campaign by its headers', () => {
    const { status, stdout } = stratafolio('check', model);
    expect(status).toBe(0);
    expect(stdout).toContain(`${SHAPE.nx} x ${SHAPE.ny} x ${SHAPE.nz} uint16`);
    expect(stdout).toMatch(/metal1 +0\.55 to 1\.25 +21\/0 +2 +2$/m);
    expect(PROCESS).toContain('metal1');
  });
});
