/** Two pictures in one place, contrast, overview, and a way back. */
import type { Page } from '@playwright/test';
import { axeFaults, canvasPixel, expect, settled, test } from './support/page.ts';

const START = 'scan/fine/#z=2.4&x=107&y=85.05&w=4';
const hash = (page: Page, key: string): Promise<string | null> =>
  page.evaluate((name) => new URLSearchParams(location.hash.slice(1)).get(name), key);

/** Which picture lies uppermost at a share of the width of the panes. */
const uppermost = (page: Page, share: number): Promise<string | undefined> =>
  page.evaluate((x) => {
    const box = document.querySelector('.pane[data-view="image"] .ground')!.getBoundingClientRect();
    const element = document.elementFromPoint(box.left + x * box.width, box.top + 0.4 * box.height);
    return element?.closest<HTMLElement>('.pane')?.dataset.view;
  }, share);

test('the wipe divides one place between image and drawing, by keys and by hand', async ({ page }) => {
  await page.goto(`${START}&show=both`);
  await settled(page);
  await page.getByRole('radio', { name: 'Wipe' }).check({ force: true });
  expect([await uppermost(page, 0.25), await uppermost(page, 0.75)]).toEqual(['image', 'drawing']);
  const slider = page.getByRole('slider', { name: 'Wipe' });
  await slider.focus();
  await page.keyboard.press('Home');
  await expect.poll(() => uppermost(page, 0.25)).toBe('drawing');
  await page.keyboard.press('End');
  await expect.poll(() => uppermost(page, 0.75)).toBe('image');
  await expect.poll(() => hash(page, 'mix')).toBe('1');
  const edge = (await page.locator('.wipe-edge').boundingBox())!;
  const panes = (await page.locator('.panes').boundingBox())!;
  await page.mouse.move(edge.x + edge.width / 2, edge.y + 40);
  await page.mouse.down();
  await page.mouse.move(panes.x + 0.3 * panes.width, edge.y + 40, { steps: 4 });
  await page.mouse.up();
  await expect.poll(() => hash(page, 'mix')).toBe('0.3');
  expect([await uppermost(page, 0.2), await uppermost(page, 0.4)]).toEqual(['image', 'drawing']);
});

test('both pictures of a wipe stand on the same pixels', async ({ page }) => {
  await page.goto(`${START}&show=blend&mix=0.5`);
  await settled(page);
  const canvases = await page.evaluate(() =>
    ['image', 'drawing'].map((view) => {
      const canvas = document.querySelector<HTMLCanvasElement>(`.pane[data-view="${view}"] canvas`)!;
      const box = canvas.getBoundingClientRect();
      return [box.left, box.top, box.width, box.height, canvas.width, canvas.height];
    }),
  );
  expect(canvases[0]).toEqual(canvases[1]);
  const engine = page.locator('.pane[data-view="drawing"] .engine');
  await expect(engine).toHaveCSS('opacity', '0.5');
});

test('pictures that take turns do so at a press where motion is not welcome', async ({ page }) => {
  await page.emulateMedia({ reducedMotion: 'reduce' });
  await page.goto(`${START}&show=blink`);
  await settled(page);
  const engine = page.locator('.pane[data-view="drawing"] .engine');
  await expect(engine).toHaveCSS('visibility', 'visible');
  await page.waitForTimeout(1000);
  await expect(engine).toHaveCSS('visibility', 'visible');
  await page.getByRole('button', { name: 'Turn over' }).click();
  await expect(engine).toHaveCSS('visibility', 'hidden');
});

test('they take turns by themselves else, and can be held', async ({ page }) => {
  await page.goto(`${START}&show=blink`);
  await settled(page);
  const panes = page.locator('.panes');
  await expect(panes).toHaveClass(/turned/);
  await expect(panes).not.toHaveClass(/turned/);
  await page.getByRole('button', { name: 'Hold' }).click();
  const held = await panes.getAttribute('class');
  await page.waitForTimeout(1200);
  expect(await panes.getAttribute('class')).toBe(held);
});

test('another scan of the die stands beside the image, on the same place and height', async ({ page }) => {
  await page.goto('scan/counter/#z=2.4&x=107&y=85&w=6&show=both');
  await settled(page);
  await page.getByRole('combobox', { name: 'Beside the image' }).selectOption('fine');
  const other = page.locator('.pane[data-view="other"][data-scan="fine"]');
  await expect(other).toHaveAttribute('data-sharp', 'plate 11');
  await expect(page.locator('.pane[data-view="drawing"]')).toBeHidden();
  await page.getByRole('slider', { name: 'Depth' }).focus();
  await page.keyboard.press('ArrowUp');
  await expect(other).toHaveAttribute('data-sharp', 'plate 12');
  await page.locator('.pane[data-view="image"] .ground').focus();
  await page.keyboard.press('ArrowRight');
  const bars = (): Promise<string[]> => page.locator('.pane:visible .graticule text').allTextContents();
  // Both count their coordinates alike once they rest.
  await expect
    .poll(async () => {
      const all = await bars();
      return all.length > 4 && all.slice(0, all.length / 2).join() === all.slice(all.length / 2).join();
    })
    .toBe(true);
  await expect.poll(() => hash(page, 'against')).toBe('fine');
  // The address is written when the reader rests; only then does a reload come back to this depth.
  await expect.poll(() => hash(page, 'z')).not.toBe('2.4');
  await page.reload();
  await expect(other).toHaveAttribute('data-sharp', 'plate 12');
  await page.getByRole('combobox', { name: 'Beside the image' }).selectOption('');
  await expect(page.locator('.pane[data-view="drawing"]')).toBeVisible();
});

test('contrast by hand, fitted, and as built; the address keeps it', async ({ page }) => {
  await page.goto(`${START}&show=image`);
  await settled(page);
  await page.getByText('Display', { exact: true }).click();
  await page.getByRole('slider', { name: 'Black at' }).fill('60');
  await page.getByRole('slider', { name: 'White at' }).fill('160');
  await expect.poll(() => hash(page, 'grey')).toBe('60-160');
  // Slope 255 / 100, and grey 60 comes out black: the transfer function of the filter effects standard.
  const red = page.locator('#grey-levels feFuncR');
  expect(Number(await red.getAttribute('slope'))).toBeCloseTo(2.55, 6);
  expect(Number(await red.getAttribute('intercept'))).toBeCloseTo(-0.6, 6);
  await page.reload();
  await settled(page);
  await expect(page.locator('scan-viewer')).toHaveClass(/levelled/);
  await page.getByText('Display', { exact: true }).click();
  await page.getByRole('checkbox', { name: 'Fit to what is in view' }).check();
  await expect.poll(() => hash(page, 'grey')).toBe('auto');
  await page.getByRole('button', { name: 'Greys as built' }).click();
  await expect(page.locator('scan-viewer')).not.toHaveClass(/levelled/);
  await expect.poll(() => hash(page, 'grey')).toBe(null);
});

test('the overview frames what is in view and leads elsewhere', async ({ page }) => {
  await page.goto(`${START}&show=image`);
  await settled(page);
  const overview = page.locator('.overview');
  const box = (await overview.boundingBox())!;
  const frame = (await overview.locator('.frame').boundingBox())!;
  // 4 µm of 15, around x = 107 of 99.975 to 114.975.
  expect(frame.width / box.width).toBeCloseTo(4 / 15, 1);
  expect((frame.x + frame.width / 2 - box.x) / box.width).toBeCloseTo(7.025 / 15, 1);
  await page.mouse.click(box.x + 0.25 * box.width, box.y + 0.5 * box.height);
  await expect.poll(async () => Math.abs(Number(await hash(page, 'x')) - 103.7)).toBeLessThan(0.2);
  await page.keyboard.press('0');
  await page.locator('.pane[data-view="image"] .ground').focus();
  await page.keyboard.press('0');
  await expect(overview).toBeHidden();
});

test('Back returns to the layer, the views and the place before a jump', async ({ page }) => {
  await page.goto(`${START}&show=both`);
  await settled(page);
  await page.getByRole('combobox', { name: 'Go to layer' }).selectOption('poly');
  await expect.poll(() => hash(page, 'z')).toBe('0.4');
  await page.getByRole('radio', { name: 'Image', exact: true }).check({ force: true });
  await expect.poll(() => hash(page, 'show')).toBe('image');
  await page.goBack();
  await expect(page.locator('scan-viewer')).toHaveAttribute('data-show', 'both');
  await expect(page.locator('[data-now="layer"]')).toHaveText('poly');
  await page.goBack();
  await expect(page.locator('[data-now="layer"]')).toHaveText('metal2');
  await page.goForward();
  await expect(page.locator('[data-now="layer"]')).toHaveText('poly');
});

test('two fingers bring the pictures nearer, both of them', async ({ browser }) => {
  const context = await browser.newContext({
    hasTouch: true,
    isMobile: true,
    viewport: { width: 390, height: 844 },
  });
  const page = await context.newPage();
  await page.goto(`${test.info().project.use.baseURL}${START}&show=both`);
  await settled(page);
  const box = (await page.locator('.pane[data-view="image"] .ground').boundingBox())!;
  const session = await context.newCDPSession(page);
  const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
  const touch = (type: string, apart?: number) =>
    session.send('Input.dispatchTouchEvent', {
      type: type as 'touchStart',
      touchPoints:
        apart === undefined
          ? []
          : [
              { x: x - apart, y, id: 0 },
              { x: x + apart, y, id: 1 },
            ],
    });
  await touch('touchStart', 20);
  for (let apart = 24; apart <= 60; apart += 6) await touch('touchMove', apart);
  await touch('touchEnd');
  await expect.poll(async () => Number(await hash(page, 'w'))).toBeLessThan(2.5);
  const labels = await page.locator('.scale-bar .label').allTextContents();
  expect(labels[0]).toBe(labels[1]);
  await context.close();
});

for (const width of [390, 1280]) {
  test(`wipe with its display box open at ${width} px: axe finds nothing`, async ({ page }) => {
    await page.setViewportSize({ width, height: 844 });
    await page.goto(`${START}&show=wipe`);
    await settled(page);
    await page.getByText('Display', { exact: true }).click();
    expect(await axeFaults(page)).toEqual([]);
    const over = await page.evaluate(() => document.documentElement.scrollWidth - window.innerWidth);
    expect(over).toBeLessThanOrEqual(0);
    expect((await canvasPixel(page, 'image'))[3]).toBe(255);
  });
}
