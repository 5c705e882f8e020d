/** What happens at build time: artefacts in, relative addresses out, figures to scale. */
import { cpSync, mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { Folio } from '../../../shared/artefacts/folio.ts';
import { dataJson } from '../../../site/build/data-json.ts';
import {
  relativePrefix,
  relativise,
  relativiseFolder,
  SENTINEL,
} from '../../../site/build/relative-links.ts';
import { loadFolio, loadScan } from '../../../site/lib/artefacts.ts';
import { dieMap } from '../../../site/lib/die-map.ts';
import {
  drawingRange,
  heightAtShare,
  nominalBands,
  scanBands,
  shareDown,
  stackColours,
} from '../../../site/lib/stack-drawing.ts';
import * as facts from '../../fixtures/folio/facts.ts';
import { makeFolio } from '../../fixtures/folio/make-folio.ts';

let work: string;
let data: string;
let folio: Folio;
beforeAll(async () => {
  work = mkdtempSync(join(tmpdir(), 'site-'));
  data = (await makeFolio(join(work, 'made'))).data;
  folio = await loadFolio(data);
});
afterAll(() => rmSync(work, { recursive: true }));

describe('texts in JSON', () => {
  it('that spell the base of the site are no address, and read back as they were', () => {
    const value = { title: `a${SENTINEL}b` };
    expect(dataJson(value)).not.toContain(SENTINEL);
    expect(JSON.parse(dataJson(value))).toEqual(value);
  });
});

describe('relative addresses', () => {
  it('climb by the depth of the page', () => {
    expect(relativePrefix(0)).toBe('./');
    expect(relativise(`<a href="${SENTINEL}scan/a/">`, 'index.html')).toBe('<a href="./scan/a/">');
    expect(relativise(`<a href="${SENTINEL}">`, 'scan/a/layer/b/index.html')).toBe('<a href="../../../../">');
    expect(relativise(`url(${SENTINEL}assets/x.woff2)`, 'assets/base.css')).toBe('url(../assets/x.woff2)');
  });

  it('are set in a whole folder, and a script that needs one is refused', async () => {
    const folder = join(work, 'out');
    mkdirSync(join(folder, 'a'), { recursive: true });
    writeFileSync(join(folder, 'a/index.html'), `<link href="${SENTINEL}x.css">`);
    writeFileSync(join(folder, 'a/plain.html'), '<p>');
    expect(await relativiseFolder(folder)).toBe(1);
    expect(readFileSync(join(folder, 'a/index.html'), 'utf8')).toBe('<link href="../x.css">');
    writeFileSync(join(folder, 'a/x.js'), `fetch("${SENTINEL}data")`);
    await expect(relativiseFolder(folder)).rejects.toThrow('a/x.js');
  });
});

describe('artefacts', () => {
  const scan = (id: string) => folio.scans.find((one) => one.id === id)!;
  const broken = async (name: string, text: string | null): Promise<string> => {
    const folder = join(work, 'broken');
    cpSync(data, folder, { recursive: true });
    if (text === null) rmSync(join(folder, name));
    else writeFileSync(join(folder, name), text);
    return loadScan(folder, scan('fine')).then(
      () => 'no fault',
      (error: Error) => error.message,
    );
  };

  it('are read whole', async () => {
    const fine = await loadScan(data, scan('fine'));
    expect(fine.plates.z_um).toHaveLength(20);
    expect(fine.placement?.verdict).toBe('ambiguous');
    const flat = await loadScan(data, scan('top-view'));
    expect(flat.placement).toBeNull();
    expect(flat.survey).toBeNull();
  });

  it('name a missing file, broken JSON, a wrong value, and files that disagree', async () => {
    expect(await broken('fine/placement.json', null)).toContain(
      'fine/placement.json: expected a hand-over file',
    );
    expect(await broken('fine/plates.json', '{')).toContain('fine/plates.json: expected JSON');
    expect(await broken('fine/layers.json', '{"version":2}')).toContain('fine/layers.json');
    const none = { version: 1, basis: 'none', layers: [], plates: [] };
    expect(await broken('fine/layers.json', JSON.stringify(none))).toContain('20 plates as in plates.json');
  });
});

describe('stack drawing', () => {
  it('is to scale, top up', () => {
    const range = drawingRange(nominalBands(folio.stack), [0, 6], 0);
    expect(range).toEqual([0, 6]);
    expect(shareDown(range, 6)).toBe(0);
    expect(shareDown(range, 1.5)).toBe(0.75);
    expect(heightAtShare(range, 0.75)).toBe(1.5);
  });

  it('gives a layer the same colour in the stack and in a scan', () => {
    const colours = stackColours(folio.stack);
    for (const band of scanBands([...facts.layerSpans], folio.stack))
      expect(band.colour).toBe(colours.get(band.name));
    expect(new Set(colours.values()).size).toBe(folio.stack.length);
  });
});

describe('die map', () => {
  it('keeps one scale for both axes, X right and Y up', () => {
    const map = dieMap(folio)!;
    // The layout is 40 by 30 µm, from (90, 70); the scan 15 by 10 µm, from (99.975, 80.025).
    expect(map.die!.width / map.die!.height).toBeCloseTo(40 / 30, 9);
    expect(map.die!.width * map.umPerUnit).toBeCloseTo(40, 9);
    const corners = map.scans[0]!.points.split(' ').map((pair) => pair.split(',').map(Number));
    const left = Math.min(...corners.map(([x]) => x!));
    const top = Math.min(...corners.map(([, y]) => y!));
    expect((left - map.die!.x) * map.umPerUnit).toBeCloseTo(9.975, 2);
    // The upper edge of the scan, Y = 90.025, lies 9.975 µm below the upper edge of the die, Y = 100.
    expect((top - map.die!.y) * map.umPerUnit).toBeCloseTo(9.975, 2);
    expect(map.scans.map((scan) => scan.id)).toEqual(['fine', 'counter', 'lines']);
  });

  it('is none where nothing has a place', () => {
    expect(dieMap({ ...folio, chip: { ...folio.chip, layout: null }, scans: [] })).toBeNull();
  });
});
