/** A page that fails its test when it prints an error or asks anything of another place. */
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { test as base, expect, type Page } from '@playwright/test';
import { PORT } from './port.ts';

const AXE = createRequire(import.meta.url).resolve('axe-core/axe.min.js');

export const PAGES = [
  '',
  'scan/fine/',
  'scan/drift/',
  'scan/top-view/',
  'scan/fine/layer/metal2/',
  'scan/fine/layer/metal4/',
  'scan/fine/record/',
  'scan/counter/',
  'scan/counter/findings/',
  'scan/counter/verdict/',
  'scan/counter/placement/',
  'scan/fine/findings/',
  'scan/fine/verdict/',
  'scan/fine/placement/',
  'scan/drift/findings/',
  'scan/drift/verdict/',
  'scan/drift/placement/',
  'scan/drift/record/',
  'scan/top-view/record/',
  'lessons/',
  'lessons/stack/',
  'lessons/find/',
  'scan/counter/embed/',
  'glossary/',
  'search/',
  'cautions/',
  'colophon/',
] as const;

export const test = base.extend<{ page: Page }>({
  page: async ({ page }, use) => {
    const faults: string[] = [];
    page.on('console', (message) => {
      // Reading pixels back is what the tests do, not the site; and their graphics card is made of software.
      const ours = /^Canvas2D: Multiple readback|GL Driver Message/.test(message.text());
      if (!ours && (message.type() === 'error' || message.type() === 'warning')) faults.push(message.text());
    });
    page.on('pageerror', (error) => faults.push(String(error)));
    page.on('request', (request) => {
      const url = new URL(request.url());
      if (/^https?:$/.test(url.protocol) && url.host !== `127.0.0.1:${PORT}`)
        faults.push(`request to ${url.href}`);
    });
    await use(page);
    expect(faults, 'errors printed and requests to other places').toEqual([]);
  },
});

/** Waits until a viewer shows the plate that its depth stands at, sharp. */
export async function settled(page: Page): Promise<void> {
  await page.waitForFunction(() => {
    const viewer = document.querySelector<HTMLElement>('scan-viewer');
    const pane = viewer?.querySelector<HTMLElement>('.pane[data-view="image"]');
    return viewer?.dataset.ready === '' && pane?.dataset.sharp === `plate ${viewer.dataset.plate}`;
  });
  // The swap is said at once and drawn with the next frames.
  await page.evaluate(
    () =>
      new Promise((done) =>
        requestAnimationFrame(() => requestAnimationFrame(() => requestAnimationFrame(done))),
      ),
  );
}

/** Waits until a page has done what it does of itself: pictures of a viewer, also of one in a frame, sharp. */
export async function standing(page: Page): Promise<void> {
  await page.waitForLoadState('load');
  const viewer = page.locator('scan-viewer');
  if ((await viewer.count()) > 0) await settled(page);
  const pair = page.locator('layer-pair');
  if ((await pair.count()) > 0) await expect(pair).toHaveAttribute('data-ready', '');
  if ((await page.locator('lesson-player').count()) > 0) {
    await expect(page.frameLocator('lesson-player iframe').locator('scan-viewer[data-ready]')).toBeAttached();
  }
}

/** Red, green, blue and alpha of the canvas of one view, at a share of its width and height. */
export function canvasPixel(page: Page, view: 'image' | 'drawing', x = 0.5, y = 0.5): Promise<number[]> {
  return page.evaluate(
    ([view, x, y]) => {
      const canvas = document.querySelector<HTMLCanvasElement>(`.pane[data-view="${view}"] canvas`)!;
      const context = canvas.getContext('2d')!;
      return [
        ...context.getImageData(Math.floor(canvas.width * x), Math.floor(canvas.height * y), 1, 1).data,
      ];
    },
    [view, x, y] as const,
  );
}

/** What the accessibility rules find wrong, one line each. */
export async function axeFaults(page: Page): Promise<string[]> {
  // As the debugger's own code: the content policy of the page lets no other script in.
  await page.evaluate(readFileSync(AXE, 'utf8'));
  return page.evaluate(async () => {
    const { axe } = window as unknown as { axe: typeof import('axe-core') };
    const { violations } = await axe.run(document, {
      // What passes is not asked for, and need not be worked out.
      resultTypes: ['violations'],
      runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'],
    });
    return violations.map((v) => `${v.id}: ${v.nodes.map((node) => node.html).join(' | ')}`);
  });
}

export { expect };
