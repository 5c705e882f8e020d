/** Measuring on plates, by mouse, by keyboard alone and by touch, against lines whose widths are known by hand. */
import { readFile } from 'node:fs/promises';
import sharp from 'sharp';
import { gaugeLine } from '../../shared/profile/gauge.ts';
import { samplerOf } from '../../site/lib/measuring/raster.ts';
import { fact, ground, numbersOf, openLines, panel, put, said, step, tool } from './support/measuring.ts';
import { axeFaults, expect, settled, test } from './support/page.ts';

// The drawing has a line of 280 nm; the image of it stands 20 nm out on either side: 320 nm.
test('a width by mouse, on a path that is drawn askew', async ({ page }) => {
  await openLines(page, 51.14, 57.6, 2);
  await tool(page, 'Width').click();
  await put(page, [50.8, 57.62], [51.5, 57.5]);
  const { value, half, drawn } = await said(page, '1 Width');
  expect(drawn).toBe(280);
  expect(Math.abs(value - 320)).toBeLessThan(3);
  expect(half).toBeLessThan(4);
  expect(await fact(page, 'resolution')).toContain('56.4 nm');
  await expect(panel(page).locator('.trace')).toHaveAttribute('aria-label', /edges found at/);
  // From the number to its method, and to the build's: two presses.
  await panel(page).getByText('How this was measured').click();
  await expect(panel(page).locator('[data-m="source"]')).toContainText('ASTM F127-84');
  await panel(page)
    .getByRole('link', { name: /The method of the build/ })
    .click();
  await expect(page).toHaveURL(/measurements\/#method-line-width$/);
  await expect(page.locator('#method-line-width')).toBeVisible();
});

test('width, pitch and space by keyboard alone', async ({ page }) => {
  await page.goto('scan/lines/#z=1.3&x=51.14&y=57.6&w=2&show=image');
  await settled(page);
  await page.getByRole('button', { name: 'Measure', exact: true }).focus();
  await page.keyboard.press('Enter');
  // The keyboard goes on in the panel: past its heading and its cross stands the first tool. Pressed at once, before
  // the tools are loaded, it is taken up as soon as they are.
  await page.keyboard.press('Tab');
  await page.keyboard.press('Tab');
  await expect(tool(page, 'Width')).toBeFocused();
  await page.keyboard.press('Enter');
  await expect(panel(page)).toHaveAttribute('data-ready', '');
  await expect(ground(page)).toBeFocused();
  await step(page, -10, 0);
  await step(page, 20, 1);
  expect(Math.abs((await said(page, '1 Width')).value - 320)).toBeLessThan(3);
  // Where its two edges were found is shown in the picture.
  await expect(page.locator('[data-view="image"] .measure-overlay line.edge.stroke')).toHaveCount(2);
  await expect(page.locator('[data-announce]')).toContainText('Width: ');
  await page.keyboard.press('Escape');
  await expect(tool(page, 'Width')).toHaveAttribute('aria-pressed', 'false');
});

test('a pitch over four periods, and a space, by mouse and by keyboard', async ({ page }) => {
  await openLines(page, 53.3, 58.6, 3.6);
  await tool(page, 'Pitch').click();
  await put(page, [52.0, 58.5], [54.6, 58.6]);
  const pitch = await said(page, '1 Pitch');
  expect(pitch.drawn).toBe(480);
  expect(Math.abs(pitch.value - 480)).toBeLessThan(2);
  expect(await fact(page, 'periods')).toBe('4');
  await tool(page, 'Space').click();
  await put(page, [52.3, 58.8], [52.78, 58.8]);
  const space = await said(page, '2 Space');
  // Drawn 280 nm apart, 20 nm nearer from either side.
  expect(space.drawn).toBe(280);
  expect(Math.abs(space.value - 240)).toBeLessThan(4);
  await tool(page, 'Pitch').press('Enter');
  await step(page, -20, 0);
  await step(page, 42, 0);
  expect(Math.abs((await said(page, '3 Pitch')).value - 480)).toBeLessThan(2);
});

test('a path across several lines measures one, shows which and says so', async ({ page }) => {
  await openLines(page, 53.3, 58.6, 3.6);
  await tool(page, 'Width').click();
  await put(page, [52.0, 58.5], [54.6, 58.5]);
  await said(page, '1 Width');
  await expect(panel(page).locator('[data-m="doubts"]')).toContainText(/[3-6] lines lie on this path/);
  const edges = page.locator('[data-view="image"] .measure-overlay line.edge.stroke');
  await expect(edges).toHaveCount(2);
  const [left, right] = [await edges.first().boundingBox(), await edges.last().boundingBox()];
  const box = (await page.locator('[data-view="image"] .measure-overlay').boundingBox())!;
  // The line nearest to the middle of the path, which lies in the middle of the view.
  const pixels = box.width / 3.6;
  expect(Math.abs((left!.x + right!.x) / 2 - (box.x + box.width / 2))).toBeLessThan(0.3 * pixels);
});

test('a via by mouse and by keyboard', async ({ page }) => {
  await openLines(page, 53.16, 56.36, 2);
  await tool(page, 'Via size').click();
  await put(page, [52.78, 55.98], [53.56, 56.7]);
  const side = await said(page, '1 Via size');
  expect(side.drawn).toBe(320);
  expect(Math.abs(side.value - 360)).toBeLessThan(4);
  for (const axis of ['size in x', 'size in y']) {
    const { value, drawn } = numbersOf(await fact(page, axis));
    expect(drawn).toBe(320);
    expect(Math.abs(value - 360)).toBeLessThan(4);
  }
  await tool(page, 'Via size').press('Enter');
  await tool(page, 'Via size').press('Enter');
  await step(page, -11, -11);
  await step(page, 22, 22);
  expect(Math.abs((await said(page, '2 Via size')).value - 360)).toBeLessThan(4);
});

test('distance, angle and area by mouse: the plain geometry of the points', async ({ page }) => {
  await openLines(page, 55.25, 56.35, 2.4);
  await tool(page, 'Distance').click();
  await put(page, [54.6, 55.8], [55.9, 56.9]);
  const distance = await said(page, '1 Distance');
  // Square root of 1.3 and 1.1 squared.
  expect(Math.abs(distance.value - 1703)).toBeLessThan(10);
  expect(await fact(page, 'dx')).toMatch(/^1[23]\d\d ± /);
  expect(await fact(page, 'angle')).toMatch(/^40\.\d ± /);
  await tool(page, 'Angle').click();
  await put(page, [54.6, 56.9], [54.6, 55.8], [55.9, 55.8]);
  expect(Math.abs((await said(page, '2 Angle')).value - 90)).toBeLessThan(1);
  await tool(page, 'Area').click();
  await put(page, [54.6, 55.8], [55.9, 55.8], [55.9, 56.9], [54.6, 56.9]);
  await panel(page).getByRole('button', { name: 'Close the outline' }).click();
  expect(Math.abs((await said(page, '3 Area')).value - 1.43)).toBeLessThan(0.02);
  expect(Math.abs(numbersOf(await fact(page, 'perimeter')).value - 4800)).toBeLessThan(20);
});

test('distance, angle, area and grey profile by keyboard', async ({ page }) => {
  await openLines(page, 51.14, 57.6, 2);
  const umPerStep = 12 * (2 / (await ground(page).boundingBox())!.width);
  await tool(page, 'Distance').press('Enter');
  await step(page, -10, 0);
  await step(page, 20, 0);
  expect(Math.abs((await said(page, '1 Distance')).value / 1000 - 20 * umPerStep)).toBeLessThan(0.03);
  await tool(page, 'Angle').press('Enter');
  await step(page, -8, 0);
  await step(page, 8, 0);
  await step(page, 0, 8);
  expect(Math.abs((await said(page, '2 Angle')).value - 90)).toBeLessThan(0.5);
  await tool(page, 'Area').press('Enter');
  await step(page, -5, -5);
  await step(page, 10, 0);
  await step(page, 0, 10);
  await step(page, -10, 0);
  // The first corner again closes the outline.
  await step(page, 0, -10);
  expect(Math.abs((await said(page, '3 Area')).value / (10 * umPerStep) ** 2 - 1)).toBeLessThan(0.03);
  await tool(page, 'Grey profile').press('Enter');
  await step(page, -12, 0);
  await step(page, 24, 0);
  await expect(panel(page).locator('[data-m="title"]')).toHaveText('4 Grey profile');
  // Ground 60 and metal 180 of 255 greys, black 0 and white 2.55 e/Å³.
  expect(await fact(page, 'lowest')).toMatch(/^0\.[56]\d* e\/Å³$/);
  expect(await fact(page, 'highest')).toMatch(/^1\.[78]\d* e\/Å³$/);
});

test('what cannot be measured is refused with the reason', async ({ page }) => {
  await openLines(page, 51.14, 57.6, 2);
  await tool(page, 'Width').click();
  await put(page, [51.5, 57.6], [51.8, 57.6]);
  await expect(panel(page).getByRole('alert')).toHaveText(/^Not measured: .*(edge|noise|path)/);
  await expect(panel(page).locator('[data-m="list"] li')).toHaveCount(0);
});

test('a reading travels in the link and is measured anew', async ({ page, context }) => {
  await openLines(page, 51.14, 57.6, 2);
  await tool(page, 'Width').click();
  await put(page, [50.8, 57.6], [51.5, 57.6]);
  const first = await said(page, '1 Width');
  await page.getByText('Share', { exact: true }).click();
  await page.getByRole('button', { name: 'Copy link' }).click();
  const address = page.url();
  expect(address).toContain('measured=width');
  await page.evaluate(() => localStorage.clear());
  const other = await context.newPage();
  await other.goto(address);
  await settled(other);
  expect(await said(other, '1 Width')).toEqual(first);
});

test('readings stay in the browser, and go out and come in as a table and as JSON', async ({ page }) => {
  await openLines(page, 51.14, 57.6, 2);
  await tool(page, 'Width').click();
  await put(page, [50.8, 57.6], [51.5, 57.6]);
  await said(page, '1 Width');
  await panel(page).getByLabel('Note').fill('=first, "by hand"');
  await panel(page).getByLabel('Note').blur();
  const item = panel(page).locator('[data-m="list"] button');
  await expect(item).toContainText('1 Width: =first, "by hand"');
  await page.goto('scan/lines/#z=1.3&x=51.14&y=57.6&w=2&show=image');
  await page.reload();
  await settled(page);
  await page.getByRole('button', { name: 'Measure', exact: true }).click();
  await expect(item).toHaveCount(1);
  const words = (await item.textContent())!;
  for (const [name, form] of [
    ['Save table', 'csv'],
    ['Save JSON', 'json'],
  ] as const) {
    const wait = page.waitForEvent('download');
    await panel(page).getByRole('button', { name }).click();
    const saved = await wait;
    expect(saved.suggestedFilename()).toBe(`readings-lines.${form}`);
    const text = await readFile(await saved.path(), 'utf8');
    // Where the crosshair can stand depends on the zoom: to a thousandth of a micrometre.
    expect(text).toMatch(/50\.(800|79[5-9])/);
    expect(text).toContain('metal1');
    await panel(page).getByRole('button', { name: 'Take all out' }).click();
    await expect(item).toHaveCount(0);
    await panel(page)
      .getByLabel('Readings to read in')
      .setInputFiles({ name: `r.${form}`, mimeType: 'text/plain', buffer: Buffer.from(text) });
    await expect(item).toHaveText(words);
  }
  await panel(page)
    .getByLabel('Readings to read in')
    .setInputFiles({ name: 'wrong.csv', mimeType: 'text/csv', buffer: Buffer.from('a,b\r\n1,2\r\n') });
  await expect(panel(page).getByRole('alert')).toContainText(
    'wrong.csv, line 1: expected a column "reading"',
  );
  await expect(item).toHaveCount(1);
});

test('clicks belong to the tool in hand, and to the nets again when it is laid down', async ({ page }) => {
  await page.goto('scan/counter/#z=1.2&x=104&y=87.67&w=12&show=image');
  await settled(page);
  await page.getByRole('button', { name: 'Measure', exact: true }).click();
  await expect(panel(page)).toHaveAttribute('data-ready', '');
  await tool(page, 'Distance').click();
  await ground(page).click();
  await expect(page.locator('scan-viewer')).not.toHaveAttribute('data-net', /^n/);
  await tool(page, 'Distance').click();
  await ground(page).click({ position: { x: 200, y: 200 } });
  await expect(page.locator('[data-announce]')).toContainText(/wire|net|metal/i);
});

test.describe('by touch', () => {
  test.use({ hasTouch: true, viewport: { width: 390, height: 844 } });
  test('a width, on a phone', async ({ page }) => {
    await openLines(page, 51.14, 57.6, 2);
    await tool(page, 'Width').tap();
    const box = (await ground(page).boundingBox())!;
    for (const share of [0.3, 0.7]) {
      await page.touchscreen.tap(box.x + share * box.width, box.y + box.height / 2);
      await page.waitForTimeout(350);
    }
    expect(Math.abs((await said(page, '1 Width')).value - 320)).toBeLessThan(4);
    expect(await page.evaluate(() => document.documentElement.scrollWidth)).toBeLessThanOrEqual(390);
  });
});

test('the panel is clean of accessibility faults, with a reading in it', async ({ page }) => {
  await openLines(page, 51.14, 57.6, 2);
  await tool(page, 'Width').click();
  await put(page, [50.8, 57.6], [51.5, 57.6]);
  await said(page, '1 Width');
  expect(await axeFaults(page)).toEqual([]);
});

// Two clicks: on the link beside the figure, or that of its table or plot; then, where it is wanted, on the numbers.
test('every figure of the measurements page has a link to its method, and the link leads there', async ({
  page,
}) => {
  await page.goto('scan/lines/measurements/');
  const found = await page.evaluate(() => {
    const links = (of: Element | null | undefined): string[] =>
      [...(of?.querySelectorAll('a[href^="#method-"]') ?? [])].map((a) => a.getAttribute('href')!);
    const beside = (cell: Element): string[] => {
      const row = cell.closest('tr')!;
      const table = cell.closest('table')!;
      const own = links(row);
      if (own.length > 0) return own;
      // Rows of one budget share the heading that spans them.
      for (let up = row.previousElementSibling; up; up = up.previousElementSibling)
        if (up.querySelector('th[scope="rowgroup"]')) return links(up);
      const named = links(table.caption);
      return named.length > 0 ? named : links(cell.closest('figure.plot'));
    };
    const figures = [...document.querySelectorAll('main td, main figure.plot, main p')].filter(
      (one) => !one.closest('#methods') && /\d/.test(one.textContent ?? ''),
    );
    return figures
      .filter((one) => !one.closest('section[aria-labelledby="methods"]') && !one.classList.contains('lede'))
      .map((one) => {
        const to = one.matches('td') ? beside(one) : links(one.closest('figure.plot') ?? one);
        return { said: one.textContent!.trim().slice(0, 60), to };
      });
  });
  expect(found.length).toBeGreaterThan(60);
  expect(found.filter(({ to }) => to.length === 0)).toEqual([]);
  const methods = [...new Set(found.flatMap(({ to }) => to))];
  // Of each kind that the build measures.
  expect(methods.length).toBe(14);
  for (const to of methods) {
    await page.locator(`main a[href="${to}"]`).first().click();
    await expect(page).toHaveURL(new RegExp(`${to}$`));
    const section = page.locator('section.method-text', { has: page.locator(to) });
    await expect(page.locator(to)).toBeInViewport();
    await expect(section.locator('p').first()).toHaveText(/\w.{40}/);
    await expect(section.locator('p.small')).toHaveText(/^Source: .{4}/);
  }
});

test('tiles decode to the same greys in the browser as in the build, and give the same width', async ({
  page,
}) => {
  // A blurred line as the build would compress it: quality 88, opacity lossless.
  const size = 96;
  const bytes = new Uint8Array(size * size * 4);
  for (let r = 0; r < size; r++)
    for (let c = 0; c < size; c++) {
      const edge = (at: number) => 1 / (1 + Math.exp(-at));
      const grey = Math.round(
        70 + 110 * (edge(c - 40.3 - r / 20) - edge(c - 54.1 - r / 20)) + ((c * 7 + r * 13) % 5),
      );
      bytes.set([grey, grey, grey, r < 4 ? 0 : 255], 4 * (r * size + c));
    }
  const webp = await sharp(bytes, { raw: { width: size, height: size, channels: 4 } })
    .webp({ quality: 88, alphaQuality: 100, effort: 1 })
    .toBuffer();
  const built = await sharp(webp).ensureAlpha().raw().toBuffer();
  await page.goto('scan/lines/');
  const seen = await page.evaluate(async (text) => {
    const raw = Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0));
    const bitmap = await createImageBitmap(new Blob([raw], { type: 'image/webp' }), {
      colorSpaceConversion: 'none',
      premultiplyAlpha: 'none',
    });
    const canvas = new OffscreenCanvas(bitmap.width, bitmap.height);
    const context = canvas.getContext('2d', { willReadFrequently: true })!;
    context.drawImage(bitmap, 0, 0);
    return [...context.getImageData(0, 0, bitmap.width, bitmap.height).data];
  }, webp.toString('base64'));
  const widths = [built, seen].map((data) => {
    const found = gaugeLine(
      samplerOf({ data, width: size, height: size }, 0, 0),
      { from: [28, 48], to: [70, 48], widthPx: 11, blur: null, leastNoise: 0.29 },
      'bright',
    );
    if (found.kind === 'refused') throw new Error(found.reason);
    return found.fit.widthPx;
  });
  expect(Math.abs(widths[0]! - widths[1]!)).toBeLessThan(0.01);
});
