/** The brick under the tiles: every depth at once, in the right greys, at the right place. */
import type { Page } from '@playwright/test';
import { fineGrey, MARK, markGrey } from '../fixtures/folio/facts.ts';
import { canvasPixel, expect, settled, test } from './support/page.ts';

const slider = (page: Page) => page.getByRole('slider', { name: 'Depth' });

/** Waits for the brick, then keeps all further tiles of plates back. */
async function brickAlone(page: Page, hash: string): Promise<void> {
  await page.goto(`scan/fine/${hash}`);
  await settled(page);
  await page.locator('.pane[data-view="image"][data-brick-whole]').waitFor();
  await page.route('**/plates/*_files/**', () => {});
}

const frames = (page: Page, count: number): Promise<void> =>
  page.evaluate(async (left) => {
    for (let n = 0; n < left; n++) await new Promise(requestAnimationFrame);
  }, count);

test('every depth stands on screen within two frames, without a tile', async ({ page }) => {
  await brickAlone(page, '#z=2.4&x=107&y=85.05&w=4&show=both');
  // All steps in one go inside the page: how long a key takes to come there is not what is tested.
  const seen = await page.evaluate(async () => {
    const slider = document.querySelector<HTMLElement>('[role="slider"][aria-label="Depth"]')!;
    const pane = document.querySelector<HTMLElement>('.pane[data-view="image"]')!;
    const canvas = pane.querySelector('canvas')!;
    const press = (key: string) => slider.dispatchEvent(new KeyboardEvent('keydown', { key, bubbles: true }));
    const seen: { shown: string | undefined; grey: number; alpha: number }[] = [];
    press('Home');
    for (let index = 1; index < 20; index++) {
      press('ArrowUp');
      for (let n = 0; n < 2; n++) await new Promise(requestAnimationFrame);
      const { width, height } = canvas;
      const [grey = 0, , , alpha = 0] = canvas
        .getContext('2d')!
        .getImageData(width >> 1, height >> 1, 1, 1).data;
      seen.push({ shown: pane.dataset.shown, grey, alpha });
    }
    return seen;
  });
  expect(seen.map((one) => one.shown)).toEqual(seen.map((_, n) => `plate ${n + 1}`));
  expect(seen.filter((one) => one.alpha !== 255)).toEqual([]);
  expect(seen.filter((one, n) => Math.abs(one.grey - markGrey(n + 1)) > 1)).toEqual([]);
});

test('it lies where the tiles lie', async ({ page }) => {
  // The grid is 15 µm by 10: all of it, 300 pixels by 200, with a pixel of the brick every 0.1 µm.
  await brickAlone(page, '#z=0.2&x=107.475&y=85.025&w=24&show=image');
  await slider(page).focus();
  await page.keyboard.press('End');
  await frames(page, 3);
  const shares = await page.locator('.pane[data-view="image"] .ground').evaluate((ground) => {
    const { clientWidth: width, clientHeight: height } = ground;
    return { width, height };
  });
  const at = (column: number, row: number): [number, number] => {
    const umPerPx = 24 / shares.width;
    const x = 0.5 + (100 + 0.05 * column - 107.475) / 24;
    const y = 0.5 - (90 - 0.05 * row - 85.025) / umPerPx / shares.height;
    return [x, y];
  };
  // Middles of cells, and a pixel of the brick inside each edge of the mark.
  const places = [
    [25, 35],
    [85, 15],
    [205, 105],
    [285, 155],
    [MARK.column + 3, MARK.row + 30],
    [MARK.column + 56, MARK.row + 30],
    [MARK.column + 30, MARK.row + 3],
    [MARK.column + 30, MARK.row + 56],
  ] as const;
  for (const [column, row] of places) {
    const [x, y] = at(column, row);
    const [grey = 0] = await canvasPixel(page, 'image', x, y);
    expect(Math.abs(grey - fineGrey(column, row, 19)), `pixel ${column}, ${row}`).toBeLessThanOrEqual(2);
  }
  // The corner without data stays without.
  expect(await canvasPixel(page, 'image', ...at(8, 192))).toEqual([0, 0, 0, 0]);
});

test('the drawing follows at once as well', async ({ page }) => {
  await brickAlone(page, '#z=2.4&x=107&y=85.05&w=4&show=both');
  const pane = page.locator('.pane[data-view="drawing"]');
  // All layers of the drawing, a tile each, come after the first.
  await page.waitForLoadState('networkidle');
  await page.route('**/renders/*_files/**', () => {});
  await page.getByRole('combobox', { name: 'Go to layer' }).selectOption('poly');
  await frames(page, 2);
  await expect(pane).toHaveAttribute('data-shown', 'poly');
  // Poly is drawn where row % 40 is 10 to 24: row 90 is, row 110 is not.
  const height = await pane.locator('.ground').evaluate((ground) => ground.clientHeight / ground.clientWidth);
  const share = (row: number): number => 0.5 - (90 - 0.05 * row - 85.05) / 4 / height;
  expect((await canvasPixel(page, 'drawing', 0.5, share(96)))[3]).toBeGreaterThan(200);
  expect((await canvasPixel(page, 'drawing', 0.5, share(110)))[3]).toBeLessThan(60);
});

test('without a brick plates come from their tiles', async ({ page }) => {
  await page.route('**/brick.json', async (route) => {
    const answer = await route.fetch();
    await route.fulfill({ json: { ...(await answer.json()), sheets: [] } });
  });
  await page.goto('scan/fine/#z=2.4&x=107&y=85.05&w=4&show=both');
  await settled(page);
  await slider(page).focus();
  await page.keyboard.press('PageUp');
  await settled(page);
  expect((await canvasPixel(page, 'image'))[0]).toBe(markGrey(14));
});

test('nothing on the page jumps while it loads or while plates go by', async ({ page }) => {
  await page.addInitScript(() => {
    const win = window as unknown as { shift: number };
    win.shift = 0;
    new PerformanceObserver((list) => {
      for (const entry of list.getEntries()) win.shift += (entry as unknown as { value: number }).value;
    }).observe({ type: 'layout-shift', buffered: true });
  });
  await page.goto('scan/fine/');
  await settled(page);
  await page.locator('.pane[data-view="image"][data-brick-whole]').waitFor();
  // By script, since what follows a real key within half a second is not counted.
  await page.evaluate(async () => {
    const slider = document.querySelector<HTMLElement>('[role="slider"][aria-label="Depth"]')!;
    for (let n = 0; n < 30; n++) {
      const key = n < 15 ? 'ArrowUp' : 'ArrowDown';
      slider.dispatchEvent(new KeyboardEvent('keydown', { key, bubbles: true }));
      await new Promise(requestAnimationFrame);
    }
  });
  const shift = await page.evaluate(() => (window as unknown as { shift: number }).shift);
  // Typefaces of one width or another move a word by a hair; 0.1 is what is called good elsewhere (Core Web Vitals).
  expect(shift).toBeLessThan(0.002);
});
