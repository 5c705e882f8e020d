/** Drawn layers as solids: what is drawn, how it turns, what is said where there is no WebGL 2. */
import type { Page } from '@playwright/test';
import { CHROMIUM_FLAGS, findChromium } from './support/chromium.ts';
import { axeFaults, expect, test } from './support/page.ts';

// A software renderer stands in for a graphics card.
test.use({
  launchOptions: {
    executablePath: findChromium(),
    args: [...CHROMIUM_FLAGS, '--use-angle=swiftshader', '--enable-unsafe-swiftshader'],
  },
});

const pane = (page: Page) => page.locator('.pane[data-view="solid"]');
const hash = (page: Page, key: string): Promise<string | null> =>
  page.evaluate((name) => new URLSearchParams(location.hash.slice(1)).get(name), key);

/** Share of the canvas that is not ground, and how many greys of a plate are in it. */
const drawn = (page: Page): Promise<{ share: number; greys: number }> =>
  page.evaluate(() => {
    const canvas = document.querySelector<HTMLCanvasElement>('.pane[data-view="solid"] canvas')!;
    const copy = new OffscreenCanvas(canvas.width, canvas.height);
    const context = copy.getContext('2d')!;
    context.drawImage(canvas, 0, 0);
    const { data } = context.getImageData(0, 0, canvas.width, canvas.height);
    let seen = 0;
    let greys = 0;
    for (let n = 0; n < data.length; n += 4) {
      const [r = 0, g = 0, b = 0] = data.subarray(n, n + 3);
      if (Math.abs(r - 11) + Math.abs(g - 12) + Math.abs(b - 14) > 6) seen++;
      if (r === g && g === b && r > 20) greys++;
    }
    return { share: seen / (data.length / 4), greys };
  });

test.beforeEach(async ({ page }) => {
  await page.goto('scan/counter/#z=2.4&x=107&y=85&w=9&show=both');
  await page.locator('scan-viewer[data-ready]').waitFor();
});

test('shapes of the window stand at their layers, with the plate through them', async ({ page }) => {
  const scripts: string[] = [];
  page.on('request', (request) => {
    if (request.resourceType() === 'script') scripts.push(request.url());
  });
  await page.getByRole('radio', { name: 'Solids' }).check({ force: true });
  await expect(pane(page)).toHaveAttribute('data-plane', '11');
  // The script came only now.
  expect(scripts.some((url) => url.includes('solid-view'))).toBe(true);
  expect(Number(await pane(page).getAttribute('data-shapes'))).toBeGreaterThan(3);
  const whole = await drawn(page);
  expect(whole.share).toBeGreaterThan(0.03);
  expect(whole.greys).toBeGreaterThan(500);
  const names = await pane(page).locator('.solid-labels text').allTextContents();
  expect(names).toContain('metal2');
  await page.getByRole('checkbox', { name: 'Plate' }).uncheck();
  await expect.poll(async () => (await drawn(page)).greys).toBeLessThan(50);
  expect(await axeFaults(page)).toEqual([]);
});

test('it turns by keys and comes apart, and the address keeps both', async ({ page }) => {
  await page.getByRole('radio', { name: 'Solids' }).check({ force: true });
  await expect(pane(page)).toHaveAttribute('data-plane', '11');
  await pane(page).locator('.solid-ground').focus();
  await page.keyboard.press('ArrowRight');
  await page.keyboard.press('ArrowDown');
  await expect.poll(() => hash(page, 'turn')).toBe('-23,39');
  await page.getByRole('slider', { name: 'Apart' }).fill('50');
  await expect.poll(() => hash(page, 'apart')).toBe('50');
  await expect(pane(page).locator('canvas')).toHaveAttribute('aria-label', /layers moved apart, turned -23°/);
  // Depth goes on working: a layer up, the plate follows.
  await page.keyboard.press('Shift+Tab');
  await page.getByRole('button', { name: 'Next layer up' }).click();
  await expect(pane(page)).toHaveAttribute('data-plane', '14');
  await page.reload();
  await expect(pane(page).locator('canvas')).toHaveAttribute('aria-label', /layers moved apart, turned -23°/);
});

test('one net alone, and a picture of it', async ({ page }) => {
  await page.goto('scan/counter/');
  await page.locator('scan-viewer[data-ready]').waitFor();
  await page.getByRole('button', { name: 'Nets' }).click();
  await page.getByLabel('Find a net or a cell by name').fill('vdd');
  await page.locator('#side-nets').getByRole('button', { name: /^vdd/ }).first().click();
  await expect(page.locator('scan-viewer')).not.toHaveAttribute('data-net', '');
  await page.getByRole('radio', { name: 'Solids' }).check({ force: true });
  const shapes = async (): Promise<number> => Number(await pane(page).getAttribute('data-shapes'));
  await expect.poll(shapes).toBeGreaterThan(3);
  const all = await shapes();
  await page.getByRole('checkbox', { name: 'Lit net alone' }).check();
  await expect(pane(page).locator('[data-note]')).toContainText('net vdd');
  await expect.poll(shapes).toBeLessThan(all);
  const saved = page.waitForEvent('download');
  await page.getByRole('button', { name: 'Save picture' }).click();
  const file = await saved;
  expect(file.suggestedFilename()).toMatch(/\.png$/);
});

test('where there is no WebGL 2 it says so, and the rest goes on working', async ({ page }) => {
  await page.addInitScript(() => {
    const own = HTMLCanvasElement.prototype.getContext;
    HTMLCanvasElement.prototype.getContext = function (this: HTMLCanvasElement, ...asked: unknown[]) {
      return asked[0] === 'webgl2' ? null : Reflect.apply(own, this, asked);
    } as typeof own;
  });
  await page.reload();
  await page.getByRole('radio', { name: 'Solids' }).check({ force: true });
  await expect(pane(page).locator('.solid-lack')).toContainText('no WebGL 2');
  await page.getByRole('radio', { name: 'Both' }).check({ force: true });
  await expect(page.locator('.pane[data-view="image"]')).toHaveAttribute('data-sharp', 'plate 11');
});
