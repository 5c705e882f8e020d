/**
 * The viewer against plain OpenSeadragon in its sequence mode over the same tiles, in the same run: Chromium at 10
 * Mbit/s with 40 ms of delay and a processor slowed four times.
 *
 *   node tests/bench/viewer.bench.ts [folio] [--scan id] [--rounds 3]
 */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { parseArgs } from 'node:util';
import { type CDPSession, chromium, type Page } from '@playwright/test';
import { CHROMIUM_FLAGS, findChromium } from '../e2e/support/chromium.ts';
import { machine } from './harness.ts';
import { serveBoth } from './viewer-server.ts';

const { values, positionals } = parseArgs({
  allowPositionals: true,
  options: { scan: { type: 'string' }, rounds: { type: 'string', default: '3' } },
});
const folio = positionals[0] ?? join('demo-volume', 'campaign', 'folio');
const json = (path: string) => JSON.parse(readFileSync(join(folio, 'data', path), 'utf8'));
const scan: string = values.scan ?? json('folio.json').scans[0].id;
const plates: number = json(`${scan}/plates.json`).z_um.length;
const page0 = readFileSync(join(folio, 'scan', scan, 'index.html'), 'utf8');
const first = Number(/data-start="(\d+)"/.exec(page0)![1]);
const STEPS = 100;
const STEP_MS = 50;
/** Plates of a scrub: up to the highest, then down, as far as the steps go. */
const route = Array.from({ length: STEPS }, (_, n) => {
  const at = (first + n + 1) % (2 * plates - 2);
  return at < plates ? at : 2 * plates - 2 - at;
});

interface Scrub {
  /** Milliseconds from frame to frame while plates went by. */
  readonly frames: number[];
  /** Frames looked at, those after the last step included. */
  readonly watched: number;
  readonly blank: number;
  readonly late: number[];
}

/** Runs in the page: steps at a fixed beat, and looks at every frame. */
async function scrub(page: Page, kind: 'ours' | 'plain'): Promise<Scrub> {
  return page.evaluate(
    async ({ kind, route, stepMs }) => {
      const win = window as unknown as {
        viewer: { goToPage(n: number): void };
        drawnPage: number;
      };
      const pane = document.querySelector<HTMLElement>('.pane[data-view="image"]');
      const slider = document.querySelector<HTMLElement>('[role="slider"][aria-label="Depth"]');
      const canvas = (pane ?? document).querySelector<HTMLCanvasElement>('canvas')!;
      const probe = new OffscreenCanvas(1, 1).getContext('2d', { willReadFrequently: true })!;
      const shown = (): number => (pane ? Number(pane.dataset.shown?.slice(6) ?? -1) : win.drawnPage);
      const go = (n: number): void => {
        if (kind === 'plain') win.viewer.goToPage(n);
        else {
          const now = Number(slider!.getAttribute('aria-valuenow'));
          slider!.dispatchEvent(
            new KeyboardEvent('keydown', { key: n > now ? 'ArrowUp' : 'ArrowDown', bubbles: true }),
          );
        }
      };
      const frames: number[] = [];
      const asked: number[] = [];
      const late = route.map(() => Number.NaN);
      let blank = 0;
      let last = performance.now();
      let running = true;
      const watch = (): void => {
        const now = performance.now();
        frames.push(now - last);
        last = now;
        probe.globalCompositeOperation = 'copy';
        probe.drawImage(canvas, -(canvas.width >> 1), -(canvas.height >> 1));
        if (probe.getImageData(0, 0, 1, 1).data[3] !== 255) blank++;
        const plate = shown();
        for (let n = 0; n < asked.length; n++) {
          if (Number.isNaN(late[n]) && route[n] === plate) late[n] = now - asked[n]!;
        }
        if (running) requestAnimationFrame(watch);
      };
      requestAnimationFrame(watch);
      const begin = performance.now();
      for (const [n, plate] of route.entries()) {
        const wait = begin + n * stepMs - performance.now();
        if (wait > 0) await new Promise((done) => setTimeout(done, wait));
        // A plate that was passed before it came on screen never came.
        asked.push(performance.now());
        go(plate);
        for (let m = 0; m < n; m++) if (Number.isNaN(late[m])) late[m] = Number.POSITIVE_INFINITY;
      }
      // What comes afterwards is the rest of the way to sharp tiles; only blank frames and late plates are still looked for.
      const scrubbing = frames.length;
      await new Promise((done) => setTimeout(done, 3000));
      running = false;
      return {
        frames: frames.slice(1, scrubbing),
        watched: frames.length - 1,
        blank,
        late: late.map((ms) => (Number.isNaN(ms) ? 1e9 : ms)),
      };
    },
    { kind, route, stepMs: STEP_MS },
  );
}

async function slow(session: CDPSession): Promise<void> {
  await session.send('Network.enable');
  await session.send('Network.emulateNetworkConditions', {
    ...{ offline: false, latency: 40, downloadThroughput: 1.25e6, uploadThroughput: 1.25e6 },
  });
  await session.send('Emulation.setCPUThrottlingRate', { rate: 4 });
}

const quantile = (list: readonly number[], share: number): number =>
  [...list].sort((a, b) => a - b)[Math.min(list.length - 1, Math.floor(share * list.length))]!;
const ms = (value: number): string => (value > 1e6 ? 'never' : `${value.toFixed(0)} ms`);

async function measure(base: string, kind: 'ours' | 'plain') {
  const browser = await chromium.launch({ executablePath: findChromium(), args: CHROMIUM_FLAGS });
  const page = await browser.newPage({ viewport: { width: 1280, height: 800 } });
  const session = await page.context().newCDPSession(page);
  await slow(session);
  let bytes = 0;
  let foreign = 0;
  let scripts = 0;
  const kinds = new Map<string, string>();
  session.on('Network.responseReceived', ({ requestId, response }) => {
    kinds.set(requestId, response.url);
    if (/^https?:/.test(response.url) && !response.url.startsWith(base)) foreign++;
  });
  session.on('Network.loadingFinished', ({ requestId, encodedDataLength }) => {
    const url = kinds.get(requestId) ?? '';
    if (url.includes('/data/')) return;
    bytes += encodedDataLength;
    if (url.endsWith('.js')) scripts += encodedDataLength;
  });
  await page.addInitScript(() => {
    const win = window as unknown as { firstDrawn?: number; shift: number };
    win.shift = 0;
    new PerformanceObserver((list) => {
      for (const entry of list.getEntries()) win.shift += (entry as unknown as { value: number }).value;
    }).observe({ type: 'layout-shift', buffered: true });
    // The first plate stands there as a plain picture, in its place, until its tiles come.
    document.addEventListener(
      'load',
      ({ target }) => {
        if (!(target instanceof HTMLImageElement) || !target.matches('.pane[data-view="image"] .poster'))
          return;
        if (target.checkVisibility()) requestAnimationFrame(() => (win.firstDrawn ??= performance.now()));
      },
      true,
    );
    new MutationObserver(() => {
      if (document.querySelector('.pane[data-view="image"][data-shown]'))
        win.firstDrawn ??= performance.now();
    }).observe(document, { subtree: true, attributes: true, attributeFilter: ['data-shown'] });
  });
  await page.goto(`${base}${kind === 'ours' ? `/scan/${scan}/` : '/plain/'}`);
  await page.waitForFunction(() => (window as unknown as { firstDrawn?: number }).firstDrawn !== undefined);
  const firstPlate = await page.evaluate(() => (window as unknown as { firstDrawn: number }).firstDrawn);
  if (kind === 'ours') {
    await page.locator('.pane[data-view="image"][data-brick-whole]').waitFor({ timeout: 120_000 });
  }
  await page.waitForTimeout(3000);
  const scrubbed = await scrub(page, kind);
  let heap: number[] = [];
  if (kind === 'ours') heap = await memory(page, session);
  const shift = await page.evaluate(() => (window as unknown as { shift: number }).shift);
  await browser.close();
  return { firstPlate, bytes, scripts, foreign, shift, heap, ...scrubbed };
}

/** Megabytes of live objects after 200 and after 1,000 steps of depth. */
async function memory(page: Page, session: CDPSession): Promise<number[]> {
  const used: number[] = [];
  for (const steps of [200, 800]) {
    await page.evaluate(async (count) => {
      const slider = document.querySelector<HTMLElement>('[role="slider"][aria-label="Depth"]')!;
      for (let n = 0; n < count; n++) {
        const key = n % 100 < 50 ? 'ArrowUp' : 'ArrowDown';
        slider.dispatchEvent(new KeyboardEvent('keydown', { key, bubbles: true }));
        if (n % 4 === 3) await new Promise(requestAnimationFrame);
      }
    }, steps);
    await page.waitForTimeout(1500);
    await session.send('HeapProfiler.collectGarbage');
    const { usedSize } = await session.send('Runtime.getHeapUsage');
    used.push(usedSize / 1e6);
  }
  return used;
}

const { server, base } = await serveBoth(folio, scan, plates, first);
console.log(`${machine()}; ${scan}, ${plates} plates; ${STEPS} steps, one in ${STEP_MS} ms\n`);
console.log(
  '| | first plate | frames: median, p95 | blank frames | right plate: median, p95, worst | never shown |',
);
console.log('| --- | --- | --- | --- | --- | --- |');
for (let round = 0; round < Number(values.rounds); round++) {
  for (const kind of ['ours', 'plain'] as const) {
    const got = await measure(base, kind);
    const came = got.late.filter((late) => late < 1e8);
    const lateness =
      came.length > 0 ? [0.5, 0.95, 1].map((share) => ms(quantile(came, share))).join(', ') : '–';
    console.log(
      `| ${kind === 'ours' ? 'viewer' : 'plain sequence'} | ${ms(got.firstPlate)} | ${ms(quantile(got.frames, 0.5))}, ${ms(quantile(got.frames, 0.95))} | ${got.blank} of ${got.watched} | ${lateness} | ${got.late.length - came.length} of ${got.late.length} |`,
    );
    if (kind === 'ours') {
      console.log(
        `|  | page ${(got.bytes / 1e3).toFixed(0)} kB, scripts ${(got.scripts / 1e3).toFixed(0)} kB | shift ${got.shift.toFixed(4)} | foreign requests ${got.foreign} | heap after 200 and 1,000 steps: ${got.heap.map((mb) => mb.toFixed(1)).join(', ')} MB | |`,
      );
    }
  }
}
server.close();
