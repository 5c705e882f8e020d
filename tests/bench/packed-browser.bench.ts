/**
 * Packed and loose plates in Chromium over a line of 10 Mbit/s and 40 ms: time to the first full plate, and requests and
 * bytes for it and for ten steps through depth. Pages are those of the test folio, in which the plates of one scan are
 * replaced by larger ones. Run by hand, after the browser tests have built that folio:
 * node tests/bench/packed-browser.bench.ts [width] [rounds]
 */
import { cpSync, existsSync, linkSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { createServer } from 'node:http';
import type { AddressInfo } from 'node:net';
import { loadavg, tmpdir } from 'node:os';
import { join } from 'node:path';
import { chromium } from '@playwright/test';
import sirv from 'sirv';
import { plateTiles, pyramidEnding, type TileKind, writePyramid } from '../../pipeline/output/pyramid.ts';
import { CHROMIUM_FLAGS, findChromium } from '../e2e/support/chromium.ts';
import { generator, machine } from './harness.ts';

const [width = 1536, rounds = 3] = process.argv.slice(2).map(Number);
const height = Math.round((width * 2) / 3);
const FOLIO = join(import.meta.dirname, '../.work/e2e/folio');
const PLATES = 20;
const STEPS = 10;
if (!existsSync(FOLIO))
  throw new Error('Run the browser tests once: they build the folio that this one is made of.');
const work = mkdtempSync(join(tmpdir(), 'stratafolio-browser-'));
const random = generator(3);
const bytes = new Uint8Array(2 * width * height);
for (let p = 0; p < width * height; p++) {
  bytes[2 * p] = 90 + ((p % width) % 24 < 10 ? 70 : 0) + 40 * (random() + random() - 1);
  bytes[2 * p + 1] = (p % width) + Math.floor(p / width) > 200 ? 255 : 0;
}

async function makeFolio(kind: TileKind): Promise<string> {
  const folio = join(work, kind);
  cpSync(FOLIO, folio, { recursive: true });
  const folder = join(folio, 'data/fine');
  rmSync(join(folder, 'plates'), { recursive: true });
  const ending = pyramidEnding(kind);
  const file = join(folder, 'plates.json');
  const plates = JSON.parse(readFileSync(file, 'utf8'));
  plates.path = `plates/{index}.${ending}`;
  plates.tiles = plateTiles(true, kind);
  plates.grid = { ...plates.grid, width_px: width, height_px: height, pixel_um: 15 / width };
  writeFileSync(file, JSON.stringify(plates));
  const name = (n: number) => join(folder, `plates/${String(n).padStart(4, '0')}`);
  await writePyramid(`${name(0)}.${ending}`, { bytes, channels: 2, width, height }, 'lossy');
  for (let n = 1; n < PLATES; n++)
    if (kind === 'packed')
      for (const end of ['tif', 'webp']) linkSync(`${name(0)}.${end}`, `${name(n)}.${end}`);
    else cpSync(`${name(0)}_files`, `${name(n)}_files`, { recursive: true });
  return folio;
}

const median = (list: readonly number[]): number => [...list].sort((a, b) => a - b)[list.length >> 1]!;
const browser = await chromium.launch({ executablePath: findChromium(), args: CHROMIUM_FLAGS });
console.log(
  `plates of ${width} x ${height} px\n\n| | first full plate, s | requests | kB | ten more plates: requests | kB |\n| --- | --- | --- | --- | --- | --- |`,
);
for (const kind of ['loose', 'packed'] as const) {
  const files = sirv(await makeFolio(kind), { dev: true });
  const server = createServer((request, response) =>
    files(request, response, () => {
      response.writeHead(404).end();
    }),
  );
  await new Promise<void>((done) => server.listen(0, '127.0.0.1', () => done()));
  const base = `http://127.0.0.1:${(server.address() as AddressInfo).port}/`;
  const first: number[] = [];
  const counts: [number, number, number, number][] = [];
  for (let round = 0; round < rounds; round++) {
    const page = await browser.newPage({ viewport: { width: 1280, height: 800 } });
    const line = await page.context().newCDPSession(page);
    await line.send('Network.enable');
    await line.send('Network.emulateNetworkConditions', {
      ...{ offline: false, latency: 40, downloadThroughput: 1.25e6, uploadThroughput: 1.25e6 },
    });
    let requests = 0;
    let received = 0;
    const ours = new Set<string>();
    line.on('Network.requestWillBeSent', ({ requestId, request }) => {
      if (!/data\/fine\/plates\/.*(webp|tif)$/.test(request.url)) return;
      ours.add(requestId);
      requests++;
    });
    line.on('Network.loadingFinished', ({ requestId, encodedDataLength }) => {
      if (ours.has(requestId)) received += encodedDataLength;
    });
    const sharp = (plate: number) =>
      page.waitForFunction(
        (n) =>
          document.querySelector<HTMLElement>('.pane[data-view="image"]')?.dataset.sharp === `plate ${n}`,
        plate,
        { timeout: 120_000, polling: 'raf' },
      );
    const began = performance.now();
    await page.goto(`${base}scan/fine/#z=0.2&x=107.5&y=85&w=15&show=image`);
    await sharp(0);
    first.push((performance.now() - began) / 1000);
    const [one, kb] = [requests, received / 1000];
    await page.getByRole('slider', { name: 'Depth' }).focus();
    for (let n = 1; n <= STEPS; n++) {
      await page.keyboard.press('ArrowUp');
      await sharp(n);
    }
    counts.push([one, kb, requests - one, received / 1000 - kb]);
    await page.context().close();
  }
  const of = (n: 0 | 1 | 2 | 3): string => median(counts.map((count) => count[n])).toFixed(0);
  console.log(
    `| ${kind} | ${median(first).toFixed(2)} (${Math.min(...first).toFixed(2)} to ${Math.max(...first).toFixed(2)}) | ${of(0)} | ${of(1)} | ${of(2)} | ${of(3)} |`,
  );
  server.closeAllConnections();
  server.close();
}
await browser.close();
rmSync(work, { recursive: true, force: true });
console.log(`\n${machine()}, load ${loadavg()[0]!.toFixed(1)}`);
