/** Moving through depth: keys, wheel, touch, and what is on the canvas while it happens. */
import type { Page } from '@playwright/test';
import { markGrey } from '../fixtures/folio/facts.ts';
import { canvasPixel, expect, settled, test } from './support/page.ts';

const slider = (page: Page) => page.getByRole('slider', { name: 'Depth' });
const plate = (page: Page) => page.locator('scan-viewer').getAttribute('data-plate').then(Number);
/** The mark of the test picture fills this place, and its grey tells the plate. */
const AT_MARK = '#z=2.4&x=107&y=85.05&w=4&show=both';

test.beforeEach(async ({ page }) => {
  await page.goto(`scan/fine/${AT_MARK}`);
  await settled(page);
});

test('the slider says plate, layer and height, and moves by keys', async ({ page }) => {
  await slider(page).focus();
  await expect(slider(page)).toHaveAttribute('aria-valuetext', 'plate 11, metal2, z = 2.40 µm');
  await page.keyboard.press('ArrowUp');
  await expect(slider(page)).toHaveAttribute('aria-valuenow', '12');
  await page.keyboard.press('ArrowDown');
  await page.keyboard.press('ArrowDown');
  await expect(slider(page)).toHaveAttribute('aria-valuenow', '10');
  // The next layer up from metal2 is via2, 2.61 to 3.31 µm: plates 13 (2.8) to 15 (3.2), the middle is 14.
  await page.keyboard.press('PageUp');
  await expect(slider(page)).toHaveAttribute('aria-valuetext', 'plate 14, via2, z = 3.00 µm');
  // Down again to the middle of metal2: plates 10 (2.2) to 12 (2.6).
  await page.keyboard.press('PageDown');
  await expect(slider(page)).toHaveAttribute('aria-valuetext', 'plate 11, metal2, z = 2.40 µm');
  await page.keyboard.press('Home');
  await expect(slider(page)).toHaveAttribute('aria-valuenow', '0');
  await page.keyboard.press('End');
  await expect(slider(page)).toHaveAttribute('aria-valuenow', '19');
  await settled(page);
  await expect
    .poll(() => canvasPixel(page, 'image'))
    .toEqual([markGrey(19), markGrey(19), markGrey(19), 255]);
});

test('the wheel over the column moves one plate a notch, up is up', async ({ page }) => {
  const box = (await page.locator('depth-column').boundingBox())!;
  await page.mouse.move(box.x + 60, box.y + box.height / 2);
  await page.mouse.wheel(0, -100);
  await expect(slider(page)).toHaveAttribute('aria-valuenow', '12');
  await page.mouse.wheel(0, 300);
  await expect(slider(page)).toHaveAttribute('aria-valuenow', '9');
});

test('the wheel over the picture zooms, with Shift or Alt it moves through depth', async ({ page }) => {
  const box = (await page.locator('.pane[data-view="image"] .ground').boundingBox())!;
  await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
  for (const key of ['Shift', 'Alt']) {
    const before = await plate(page);
    await page.keyboard.down(key);
    await page.mouse.wheel(0, 100);
    await page.keyboard.up(key);
    await expect(slider(page)).toHaveAttribute('aria-valuenow', String(before - 1));
  }
  const before = await plate(page);
  await page.mouse.wheel(0, -100);
  await expect
    .poll(() => page.evaluate(() => new URLSearchParams(location.hash.slice(1)).get('w')))
    .not.toBe('4');
  expect(await plate(page)).toBe(before);
});

test('a press on the column goes to that height', async ({ page }) => {
  const column = page.locator('depth-column');
  const box = (await column.boundingBox())!;
  // The column is drawn from data-range[0] at its foot to data-range[1] at its head.
  const [low, high] = (await column.getAttribute('data-range'))!.split(',').map(Number) as [number, number];
  const y = box.y + (box.height * (high - 3.0)) / (high - low);
  await page.mouse.click(box.x + 60, y);
  await expect(slider(page)).toHaveAttribute('aria-valuetext', 'plate 14, via2, z = 3.00 µm');
  await expect(slider(page)).toBeFocused();
});

test('a drag of a finger along the column scrubs', async ({ browser }) => {
  const context = await browser.newContext({
    hasTouch: true,
    isMobile: true,
    viewport: { width: 390, height: 844 },
  });
  const page = await context.newPage();
  await page.goto(`${test.info().project.use.baseURL}scan/fine/${AT_MARK}`);
  await settled(page);
  const box = (await page.locator('depth-column').boundingBox())!;
  const session = await context.newCDPSession(page);
  const touch = (type: string, y?: number) =>
    session.send('Input.dispatchTouchEvent', {
      type: type as 'touchStart',
      touchPoints: y === undefined ? [] : [{ x: box.x + 40, y }],
    });
  const before = await plate(page);
  await touch('touchStart', box.y + box.height * 0.9);
  for (let n = 1; n <= 12; n++) await touch('touchMove', box.y + box.height * (0.9 - 0.05 * n));
  await touch('touchEnd');
  expect(before).toBe(11);
  await expect.poll(() => plate(page)).toBeGreaterThan(15);
  await settled(page);
  const now = await plate(page);
  expect((await canvasPixel(page, 'image'))[0]).toBe(markGrey(now));
  await context.close();
});

test('buttons and the list of layers lead to layers', async ({ page }) => {
  await page.getByRole('button', { name: 'Next layer up' }).click();
  await expect(page.locator('[data-now="layer"]')).toHaveText('via2');
  await page.getByRole('combobox', { name: 'Go to layer' }).selectOption('poly');
  await expect(page.locator('[data-now="layer"]')).toHaveText('poly');
  await expect(page.locator('[data-now="height"]')).toHaveText('z = 0.40\u00a0µm');
});

test('between layers both neighbours are drawn faintly and named', async ({ page }) => {
  await slider(page).focus();
  await page.goto(`scan/fine/${AT_MARK.replace('2.4', '1.4')}`);
  await expect(page.locator('[data-now="layer"]')).toHaveText('between metal1 and via1');
  await expect(page.locator('.pane[data-view="drawing"] [data-note]')).toHaveText(
    'metal1 and via1, nearest, drawn faintly',
  );
  await expect(slider(page)).toHaveAttribute(
    'aria-valuetext',
    'plate 6, between metal1 and via1, z = 1.40 µm',
  );
});

/** Records, in every frame of a while, the grey and opacity in the middle of the image's canvas. */
async function watchFrames(page: Page): Promise<() => Promise<{ grey: number; alpha: number }[]>> {
  await page.evaluate(() => {
    const frames: { grey: number; alpha: number }[] = [];
    const state = window as unknown as { frames: typeof frames; watching: boolean };
    state.frames = frames;
    state.watching = true;
    const canvas = document.querySelector<HTMLCanvasElement>('.pane[data-view="image"] canvas')!;
    const context = canvas.getContext('2d')!;
    const look = (): void => {
      const [grey = 0, , , alpha = 0] = context.getImageData(
        canvas.width >> 1,
        canvas.height >> 1,
        1,
        1,
      ).data;
      frames.push({ grey, alpha });
      if (state.watching) requestAnimationFrame(look);
    };
    requestAnimationFrame(look);
  });
  return () =>
    page.evaluate(() => {
      const state = window as unknown as { frames: { grey: number; alpha: number }[]; watching: boolean };
      state.watching = false;
      return state.frames;
    });
}

/** A brick holds 8 bits over a window wider than the plate's, which moves a grey by one at most. */
const plateOf = (grey: number): number => Math.round((grey - 60) / 8);
const isPlateGrey = (grey: number): boolean =>
  plateOf(grey) >= 0 && plateOf(grey) <= 19 && Math.abs(grey - markGrey(plateOf(grey))) <= 1;

test('no frame is blank while scrubbing fast, and the last plate stands at the end', async ({ page }) => {
  const stop = await watchFrames(page);
  await slider(page).focus();
  // Inside the page, a step a frame: keys from outside come far too slowly on a busy machine.
  await slider(page).evaluate(async (handle) => {
    const keys = [...'u'.repeat(8), ...'d'.repeat(16), ...'u'.repeat(8)];
    for (const key of [...keys, ...keys, ...keys]) {
      handle.dispatchEvent(
        new KeyboardEvent('keydown', { key: key === 'u' ? 'ArrowUp' : 'ArrowDown', bubbles: true }),
      );
      await new Promise(requestAnimationFrame);
    }
  });
  await settled(page);
  const frames = await stop();
  expect(frames.length).toBeGreaterThan(20);
  expect(frames.filter((frame) => frame.alpha !== 255)).toEqual([]);
  expect(frames.filter((frame) => !isPlateGrey(frame.grey))).toEqual([]);
  expect(new Set(frames.map((frame) => frame.grey)).size, 'plates met on the way').toBeGreaterThan(5);
  expect((await canvasPixel(page, 'image'))[0]).toBe(markGrey(await plate(page)));
});

for (const seed of [1, 2, 3]) {
  test(`answers out of order never bring an older plate back (seed ${seed})`, async ({ page }) => {
    // Park and Miller's minimal standard generator: the delays are the same in every run.
    let state = seed * 7919;
    const random = (): number => {
      state = (state * 48271) % 2147483647;
      return state / 2147483647;
    };
    await page.route('**/plates/*_files/**', async (route) => {
      await new Promise((resolve) => setTimeout(resolve, random() * 600));
      // A request given up meanwhile has nobody to answer.
      await route.continue().catch(() => {});
    });
    const stop = await watchFrames(page);
    const targets = [15, 3, 18, 7, 1, 16, 5, 13];
    for (const target of targets) {
      await page.evaluate((index) => {
        location.hash = `z=${(0.2 * (index + 1)).toFixed(1)}&x=107&y=85.05&w=4&show=both`;
      }, target);
      await page.waitForTimeout(60 + random() * 120);
    }
    await settled(page);
    await page.waitForTimeout(900);
    const frames = await stop();
    expect(frames.filter((frame) => frame.alpha !== 255)).toEqual([]);
    expect((await canvasPixel(page, 'image'))[0]).toBe(markGrey(13));
    // Each plate that came on screen was asked for later than the one before it.
    const order = frames
      .map((frame) => plateOf(frame.grey))
      .filter((index, n, all) => n === 0 || index !== all[n - 1]);
    const asked = order.slice(1).map((index) => targets.indexOf(index));
    expect(asked).toEqual([...asked].sort((a, b) => a - b));
    expect(asked.every((n) => n >= 0)).toBe(true);
  });
}

test('a long scrub keeps a bounded number of pictures', async ({ page }) => {
  await slider(page).focus();
  for (let n = 0; n < 60; n++) await page.keyboard.press(n % 40 < 20 ? 'ArrowUp' : 'ArrowDown');
  await settled(page);
  const held = await page
    .locator('scan-viewer')
    .evaluate((viewer) => (viewer as unknown as { held: number }).held);
  // Image: the plate and its neighbours; drawing: the layer and its neighbours.
  expect(held).toBeLessThanOrEqual(12);
});
