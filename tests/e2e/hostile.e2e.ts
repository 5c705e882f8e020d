/** A folio whose every free text is hostile: nothing runs, nothing is fetched, every page stands under its policy. */
import { readdirSync, readFileSync } from 'node:fs';
import type { Server } from 'node:http';
import type { AddressInfo } from 'node:net';
import { join } from 'node:path';
import { expect, type Page, test } from '@playwright/test';
import { makeHostile } from '../fixtures/folio/hostile-text.ts';
import { buildSite } from './support/build-site.ts';
import { BELOW, serveFolio } from './support/server.ts';

const SEED = 20260;
let server: Server;
let folio: string;
let texts = 0;

// One build for all.
test.describe.configure({ mode: 'serial' });

test.beforeAll(async () => {
  test.setTimeout(240_000);
  folio = await buildSite(join(import.meta.dirname, '../.work/e2e-hostile'), ({ data, lessons }) => {
    texts = makeHostile(data, lessons, SEED);
  });
  server = await serveFolio(folio, 0);
});
test.afterAll(() => server?.close());

const pages = (): string[] =>
  readdirSync(folio, { recursive: true, withFileTypes: true })
    .filter((entry) => entry.isFile() && entry.name.endsWith('.html'))
    .map((entry) => join(entry.parentPath, entry.name).slice(folio.length + 1));

/** Every element of ours that starts by itself has started, and what it then put on the page has been painted. */
async function stood(page: Page): Promise<void> {
  await page.waitForFunction(() =>
    [...document.querySelectorAll<HTMLElement>('scan-viewer, layer-pair, findings-table')].every(
      (element) => element.dataset.ready === '',
    ),
  );
  await page.evaluate(
    () => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(done)))),
  );
}

test('no script of a text runs and no page asks another place', async ({ page }) => {
  test.setTimeout(240_000);
  expect(texts).toBeGreaterThan(1000);
  const host = `http://127.0.0.1:${(server.address() as AddressInfo).port}`;
  const foreign: string[] = [];
  const said: string[] = [];
  page.on('request', (request) => {
    if (/^https?:/.test(request.url()) && !request.url().startsWith(host)) foreign.push(request.url());
  });
  page.on('console', (message) => {
    if (message.type() === 'error') said.push(`${page.url()}: ${message.text()}`);
  });
  page.on('dialog', (dialog) => {
    said.push(`dialog ${dialog.message()}`);
    void dialog.dismiss();
  });
  for (const path of pages()) {
    await page.goto(host + BELOW + path);
    // What a page does of itself is done once its parts say that they are ready, or that they cannot be.
    await stood(page);
    const state = await page.evaluate(
      (own) => ({
        ran: (window as unknown as { __ran?: number }).__ran ?? 0,
        headings: document.querySelectorAll('h1').length,
        // The folio's own frames and its search form stay inside it; those of a text would not.
        base: [
          ...document.querySelectorAll('base, object, embed, iframe[srcdoc], iframe[src], form[action]'),
        ].filter((element) => {
          const to = element.getAttribute('src') ?? element.getAttribute('action');
          return (
            to === null || element.hasAttribute('srcdoc') || !new URL(to, location.href).href.startsWith(own)
          );
        }).length,
        handlers: [...document.querySelectorAll('*')].filter((element) =>
          [...element.attributes].some(
            ({ name, value }) => /^on/i.test(name) || /^\s*javascript:/i.test(value),
          ),
        ).length,
        address: location.pathname,
      }),
      host + BELOW,
    );
    expect(state, path).toEqual({ ran: 0, headings: 1, base: 0, handlers: 0, address: BELOW + path });
  }
  expect(foreign).toEqual([]);
  expect(said).toEqual([]);
});

test('data blocks stay JSON, tables stay tables', () => {
  const front = readFileSync(join(folio, 'index.html'), 'utf8');
  const block = /<script type="application\/ld\+json">([\s\S]*?)<\/script>/.exec(front)![1]!;
  const title = JSON.parse(readFileSync(join(folio, 'data', 'folio.json'), 'utf8')).title;
  expect(JSON.parse(block).name).toBe(title);
  for (const path of readdirSync(folio, { recursive: true }).map(String)) {
    if (!path.endsWith('.csv')) continue;
    const cells = readFileSync(join(folio, path), 'utf8').match(/(?:^|,)(?:"(?:[^"]|"")*"|[^,\r\n]*)/gm)!;
    const formulas = cells
      .map((cell) => cell.replace(/^,?"?/, ''))
      .filter((cell) => /^[=+@\t]|^-(?![\d.])/.test(cell));
    expect(formulas, path).toEqual([]);
  }
});
