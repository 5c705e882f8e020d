/** Builds a campaign with secrets and looks for them in every byte, every shape and every pixel of the folio. */
import { spawnSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, relative } from 'node:path';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { silentProgress } from '../../../pipeline/output/progress.ts';
import { buildFolio } from '../../../pipeline/run.ts';
import { brickSchema } from '../../../shared/artefacts/brick.ts';
import { folioSchema } from '../../../shared/artefacts/folio.ts';
import { netIndexSchema } from '../../../shared/artefacts/net-lookup.ts';
import { platesSchema } from '../../../shared/artefacts/plates.ts';
import { readJson } from '../../../shared/artefacts/read.ts';
import { withheldSchema } from '../../../shared/artefacts/withheld.ts';
import { InputFault } from '../../../shared/errors.ts';
import { type Box, boxesMeet, polygonBox } from '../../../shared/polygon.ts';
import { CAMPAIGN } from '../../fixtures/campaign/make-campaign.ts';
import {
  CELL_UM,
  makeWithheldCampaign,
  REGION_UM,
  SECRETS,
  WITHHOLD,
} from '../../fixtures/campaign/withheld-campaign.ts';

const CLI = join(import.meta.dirname, '..', '..', '..', 'pipeline', 'cli.ts');
const HIDDEN: readonly Box[] = [REGION_UM, CELL_UM];
const PATIENT_MS = 240_000;
let work: string;
let folio: string;

const stratafolio = (...args: string[]) => spawnSync(process.execPath, [CLI, ...args], { encoding: 'utf8' });
const files = (folder: string): string[] =>
  readdirSync(folder, { recursive: true, withFileTypes: true })
    .filter((entry) => entry.isFile())
    .map((entry) => join(entry.parentPath, entry.name));

beforeAll(async () => {
  work = mkdtempSync(join(tmpdir(), 'stratafolio-withheld-'));
  const campaign = join(work, 'campaign');
  mkdirSync(campaign);
  await makeWithheldCampaign(campaign, '');
  // An earlier build withheld nothing: what it kept for later builds must not come back.
  const open = join(work, 'open');
  await buildFolio(campaign, { out: open, dataOnly: true, progress: silentProgress });
  expect(readFileSync(join(open, 'data/fine/nets/names.json'), 'utf8')).toContain('secret_net');
  writeFileSync(join(campaign, 'campaign.yaml'), CAMPAIGN + WITHHOLD);
  folio = join(work, 'folio');
  const { status, stderr } = stratafolio('build', campaign, '--out', folio, '--jobs', '2');
  expect(stderr).not.toContain('What to do');
  expect(status).toBe(0);
}, 480_000);
afterAll(() => rmSync(work, { recursive: true, force: true }));

const scan = (name: string) => join(folio, 'data', 'fine', name);
const read = <S extends Parameters<typeof readJson>[2]>(name: string, schema: S) =>
  readJson(readFileSync(scan(name), 'utf8'), name, schema);

describe('a folio that withholds', () => {
  it('holds no withheld name in any file', () => {
    const hits = files(folio).flatMap((file) => {
      const bytes = readFileSync(file).toString('latin1');
      return SECRETS.filter((secret) => bytes.includes(secret)).map(
        (secret) => `${secret} in ${relative(folio, file)}`,
      );
    });
    expect(hits).toEqual([]);
    // What may be told is told: the test would not notice an empty folio otherwise.
    expect(readFileSync(scan('nets/names.json'), 'utf8')).toContain('open_net');
  });

  it('holds no withheld shape in any net file', () => {
    const { unit_um: unit } = read('nets/index.json', netIndexSchema);
    let shapes = 0;
    const visit = (value: unknown): void => {
      if (Array.isArray(value)) {
        if (value.length >= 4 && value.length % 2 === 0 && value.every((v) => typeof v === 'number')) {
          shapes++;
          const b = polygonBox(value.map((v: number) => v * unit));
          const inner = HIDDEN.filter((h) =>
            boxesMeet([b[0] + 1e-6, b[1] + 1e-6, b[2] - 1e-6, b[3] - 1e-6], h),
          );
          if (inner.length > 0)
            expect({ value, allowed: mayBeThere(value) }).toMatchObject({ allowed: true });
        } else value.forEach(visit);
      } else if (value && typeof value === 'object') {
        for (const [key, one] of Object.entries(value))
          if (!['box', 'boxes', 'origin', 'window_um'].includes(key)) visit(one);
      }
    };
    // The third bar crosses over the cell on a higher layer and is no part of it; the first is cut to an L.
    const mayBeThere = (ring: number[]) =>
      `${ring}` === '10550,22050,15550,22550' ||
      (ring.length > 4 &&
        ring.every((v, n) => n % 2 === 1 || v * unit <= 11.2 + 1e-9 || ring[n + 1]! * unit <= 23.2 + 1e-9));
    for (const file of files(scan('nets'))) visit(JSON.parse(readFileSync(file, 'utf8')));
    expect(shapes).toBeGreaterThan(3);
  });

  it(
    'holds no withheld pixel in any tile of any level, nor in the brick',
    async () => {
      const { grid } = read('plates.json', platesSchema);
      const tiles = files(join(folio, 'data')).filter((file) => /_files\/\d+\/\d+_\d+\.webp$/.test(file));
      expect(tiles.length).toBeGreaterThan(60);
      const longest = Math.ceil(Math.log2(Math.max(grid.width_px, grid.height_px)));
      let hidden = 0;
      let seen = 0;
      for (const tile of tiles) {
        const [level, column, row] = /(\d+)\/(\d+)_(\d+)\.webp$/.exec(tile)!.slice(1).map(Number) as [
          number,
          number,
          number,
        ];
        const step = 2 ** (longest - level);
        const counted = await opacities(tile, (x, y) => {
          const [px, py] = [(column * 256 + x) * step, (row * 256 + y) * step];
          return boxOfPixels(grid, px, py, step);
        });
        hidden += counted.hidden;
        seen += counted.seen;
      }
      const brick = read('brick.json', brickSchema);
      for (const { file } of brick.sheets) {
        const counted = await opacities(scan(file), (x, y) => {
          const [cx, cy] = [x % brick.columns, y % brick.rows];
          const left = brick.origin_um[0] + (cx - 0.5) * brick.pixel_um;
          const top = brick.origin_um[1] - (cy - 0.5) * brick.pixel_um;
          return [left, top - brick.pixel_um, left + brick.pixel_um, top];
        });
        hidden += counted.hidden;
      }
      expect(hidden).toBeGreaterThan(2000);
      expect(seen).toBeGreaterThan(10_000);
    },
    PATIENT_MS,
  );

  /** Pixels inside a hidden place, each of which has to be fully transparent; and those that show. */
  async function opacities(file: string, boxOf: (x: number, y: number) => Box) {
    const { data, info } = await sharp(file).ensureAlpha().raw().toBuffer({ resolveWithObject: true });
    let hidden = 0;
    let seen = 0;
    for (let y = 0; y < info.height; y++)
      for (let x = 0; x < info.width; x++) {
        const [x0, y0, x1, y1] = boxOf(x, y);
        const at = (y * info.width + x) * info.channels;
        const isHidden = HIDDEN.some((h) => x0 >= h[0] && y0 >= h[1] && x1 <= h[2] && y1 <= h[3]);
        if (isHidden) {
          hidden++;
          expect(data[at + info.channels - 1], `${file} at ${x}, ${y}`).toBe(0);
        } else if (data[at + info.channels - 1] === 255) seen++;
      }
    return { hidden, seen };
  }

  const boxOfPixels = (
    grid: { origin_um: readonly [number, number]; pixel_um: number },
    column: number,
    row: number,
    size: number,
  ): Box => {
    const left = grid.origin_um[0] + (column - 0.5) * grid.pixel_um;
    const top = grid.origin_um[1] - (row - 0.5) * grid.pixel_um;
    return [left, top - size * grid.pixel_um, left + size * grid.pixel_um, top];
  };

  it('says in its data and on its pages that something is withheld, and where', () => {
    const { withheld } = readJson(
      readFileSync(join(folio, 'data', 'folio.json'), 'utf8'),
      'folio.json',
      folioSchema,
    );
    expect(withheld).toEqual({
      ...{ regions_um: [[...REGION_UM]], cells: 2, drawn_layers: 1, layers: [], scans: [] },
    });
    const { places, margin_um: margin } = read('withheld.json', withheldSchema);
    expect(places).toEqual([
      { kind: 'region', box_um: [...REGION_UM] },
      { kind: 'cell', box_um: [...CELL_UM] },
    ]);
    expect(margin).toBeGreaterThan(0.1);
    const front = readFileSync(join(folio, 'index.html'), 'utf8');
    expect(front).toContain('one region, 2 cells of the layout and one drawn layer are withheld');
    expect(readFileSync(join(folio, 'scan', 'fine', 'record', 'index.html'), 'utf8')).toContain(
      '11.20 to 11.90',
    );
  });
});

describe('withholding that cannot be kept', () => {
  const campaign = (text: string) => {
    const folder = mkdtempSync(join(work, 'bad-'));
    return makeWithheldCampaign(folder, '').then(() => {
      writeFileSync(join(folder, 'campaign.yaml'), text);
      return folder;
    });
  };
  it.each([
    ['a cell that is none', WITHHOLD.replace('VENDOR_*', 'VENDER_*'), ['withhold.cells.0', '"VENDER_*"']],
    ['a drawn layer that is none', WITHHOLD.replace('90/0', '91/0'), ['withhold.drawn.0', '"91/0"']],
    ['the top cell', WITHHOLD.replace('VENDOR_*', '*'), ['top cell "BARS"']],
    [
      'a name in the title',
      `${WITHHOLD}summary: Bits of VENDOR_BIT.\n`,
      ['campaign.yaml, summary', '"VENDOR_BIT"'],
    ],
  ])(
    '%s stops the build',
    async (_, withhold, words) => {
      const folder = await campaign(CAMPAIGN + withhold);
      const fault = await buildFolio(folder, { dataOnly: true, progress: silentProgress }).catch((e) => e);
      expect(fault).toBeInstanceOf(InputFault);
      for (const word of words) expect(fault.message).toContain(word);
      expect(readdirSync(folder)).not.toContain('folio');
    },
    PATIENT_MS,
  );

  it(
    'a scan without a certain place is left out whole',
    async () => {
      const folder = await campaign(CAMPAIGN.replace(/ {4}placement:.*\n/, '') + WITHHOLD);
      const { doubts } = await buildFolio(folder, { dataOnly: true, progress: silentProgress });
      expect(doubts.join()).toContain('The scan "fine" is left out whole');
      expect(readdirSync(join(folder, 'folio', 'data'))).not.toContain('fine');
      expect(readFileSync(join(folder, 'folio', 'data', 'inputs.json'), 'utf8')).not.toContain('bars_000');
    },
    PATIENT_MS,
  );

  it(
    'check tells what will be public',
    async () => {
      const { stdout } = stratafolio('check', await campaign(CAMPAIGN + WITHHOLD));
      expect(stdout).toContain('Public, once the folio is published');
      expect(stdout).toMatch(/cells +VENDOR_BIT, VENDOR_RAM/);
      expect(stdout).toMatch(/region +X 11.2 to 11.9, Y 23.2 to 24.4/);
    },
    PATIENT_MS,
  );
});
