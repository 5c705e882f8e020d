/** Vertical sections: cut by mouse and by keyboard, labelled, to scale, and measured in. */
import type { Page } from '@playwright/test';
import { fact, openLines, panel, put, said, step, tool } from './support/measuring.ts';
import { axeFaults, expect, test } from './support/page.ts';

const strip = (page: Page) => page.locator('.section-strip');
const cutting = (page: Page) => strip(page).locator('.section-ground');

test('a section is cut along a line and labelled; a thickness in it, by mouse', async ({ page }) => {
  await openLines(page, 53.3, 58.6, 3.6);
  await tool(page, 'Thickness').click();
  await expect(panel(page).getByRole('alert')).toContainText('There is no section yet');
  await tool(page, 'Draw a section').click();
  await put(page, [52.06, 58.6], [54.46, 58.6]);
  await expect(strip(page)).toBeVisible();
  await expect(strip(page)).toContainText('2.40 µm long');
  await expect(strip(page).locator('text').filter({ hasText: 'metal1' })).toBeVisible();
  await expect(strip(page).locator('[data-s="from"]')).toHaveText('from full tiles');
  await tool(page, 'Thickness').click();
  const box = (await cutting(page).boundingBox())!;
  // The third line of the grating lies in the middle of the section, the layer in the middle of the heights.
  const middle = box.x + 56 + (box.width - 100) / 2;
  await page.mouse.click(middle, box.y + box.height / 2 - 12);
  const { value, half, drawn } = await said(page, '1 Thickness');
  // Faces of the image lie at 1.10 and 1.50 µm; the process table of the test folio says 390 nm.
  expect(drawn).toBe(390);
  expect(Math.abs(value - 400)).toBeLessThan(10);
  expect(half).toBeLessThan(20);
  expect(await fact(page, 'lower face')).toMatch(/^1(09|10)\d/);
  expect(await fact(page, 'resolution')).toContain('76.9 nm');
  await page.screenshot();
});

test('section, thickness and height difference by keyboard alone', async ({ page }) => {
  await openLines(page, 53.26, 58.6, 3);
  await tool(page, 'Draw a section').press('Enter');
  await step(page, -20, 0);
  await step(page, 40, 0);
  await expect(strip(page)).toHaveAttribute('data-ready', '');
  await tool(page, 'Thickness').press('Enter');
  await expect(cutting(page)).toBeFocused();
  await page.keyboard.press('Enter');
  expect(Math.abs((await said(page, '1 Thickness')).value - 400)).toBeLessThan(12);
  await tool(page, 'Height difference').press('Enter');
  await step(page, 0, -4);
  await step(page, 0, 8);
  const box = (await cutting(page).boundingBox())!;
  // Sixty plates of 20 nm over the height of the picture.
  const perPixel = 1200 / (box.height - 30);
  const height = await said(page, '2 Height difference');
  expect(Math.abs(height.value - 8 * 12 * perPixel)).toBeLessThan(5);
});

test('true scale makes a micrometre of height as long as one along the section', async ({ page }) => {
  await openLines(page, 53.3, 58.6, 3.6);
  await tool(page, 'Draw a section').click();
  await put(page, [52.06, 58.6], [54.46, 58.6]);
  await expect(strip(page).locator('[data-s="scale"]')).toContainText('stretched');
  await strip(page).getByRole('button', { name: 'True scale' }).click();
  await expect(strip(page).locator('[data-s="scale"]')).toHaveText('true scale');
  const faces = await strip(page)
    .locator('.face')
    .evaluateAll((all) => all.map((one) => Number(one.getAttribute('y1'))));
  const width = await strip(page)
    .locator('.face')
    .first()
    .evaluate((one) => Number(one.getAttribute('x2')) - Number(one.getAttribute('x1')));
  expect(Math.abs(Math.abs(faces[1]! - faces[0]!) / width - 0.4 / 2.4)).toBeLessThan(0.005);
  expect(await axeFaults(page)).toEqual([]);
  await strip(page).getByRole('button', { name: 'Close the section' }).click();
  await expect(strip(page)).toBeHidden();
});
