/** Findings in the viewer: marks, the opened finding, and decisions that stay and can be taken away as a file. */
import { readFile } from 'node:fs/promises';
import type { Page } from '@playwright/test';
import { parseReviews } from '../../pipeline/stages/publish/reviews.ts';
import { FINDINGS } from '../fixtures/folio/counter-facts.ts';
import { axeFaults, expect, settled, test } from './support/page.ts';

const METAL2 = '#z=2.2&x=107.5&y=85&w=12&show=both';
const mark = (page: Page, id: string, view = 'image') =>
  page.locator(`.pane[data-view="${view}"] .finding-mark[data-id="${id}"]`);
const panel = (page: Page) => page.locator('[data-side="findings"]');
const field = (page: Page, key: string) =>
  page.evaluate((key) => new URLSearchParams(location.hash.slice(1)).get(key), key);

async function open(page: Page, fragment = METAL2): Promise<void> {
  await page.goto(`scan/counter/${fragment}`);
  await settled(page);
}

test('marks of the present layer lie on their places in both views', async ({ page }) => {
  await open(page);
  for (const view of ['image', 'drawing']) {
    await expect(page.locator(`.pane[data-view="${view}"] .finding-mark`)).toHaveCount(2);
    const ground = (await page.locator(`.pane[data-view="${view}"] .ground`).boundingBox())!;
    const box = (await mark(page, 'F0003', view).boundingBox())!;
    // By hand from the camera: 12 µm over the width of the ground, X 107.5 and Y 85 in its middle.
    const [x, y] = FINDINGS[2]!.centre_um;
    const scale = ground.width / 12;
    expect(
      Math.abs(box.x + box.width / 2 - (ground.x + ground.width / 2 + (x - 107.5) * scale)),
    ).toBeLessThan(1.5);
    expect(Math.abs(box.y + box.height / 2 - (ground.y + ground.height / 2 - (y - 85) * scale))).toBeLessThan(
      1.5,
    );
    expect(Math.min(box.width, box.height)).toBeGreaterThanOrEqual(24);
  }
  await page.getByRole('combobox', { name: 'Go to layer' }).selectOption('via2');
  await expect(mark(page, 'F0001')).toHaveCount(1);
  await expect(mark(page, 'F0003')).toHaveCount(0);
});

test('a mark is reached by keys, opens its finding and brings both views there', async ({ page }) => {
  await open(page);
  await page.locator('.pane[data-view="image"] .ground').focus();
  await page.keyboard.press('Tab');
  await expect(mark(page, 'F0003')).toBeFocused();
  await expect(mark(page, 'F0003')).toHaveAccessibleName(
    'F0003, open on metal2, odds 97 in 100, not judged yet',
  );
  await page.keyboard.press('ArrowRight');
  await expect(mark(page, 'F0005')).toBeFocused();
  await page.keyboard.press('ArrowRight');
  await page.keyboard.press('Enter');
  await expect(panel(page).getByRole('heading', { name: 'F0003, open' })).toBeVisible();
  await expect(page.locator('[data-announce]')).toContainText('F0003');
  await expect.poll(() => field(page, 'finding')).toBe('F0003');
  const [x, y] = FINDINGS[2]!.centre_um;
  await expect.poll(async () => Math.abs(Number(await field(page, 'x')) - x)).toBeLessThan(0.01);
  await expect.poll(async () => Math.abs(Number(await field(page, 'y')) - y)).toBeLessThan(0.01);
  expect(Number(await field(page, 'w'))).toBeLessThan(6);
  const ticks = await page.locator('.graticule').evaluateAll((all) => all.map((one) => one.textContent));
  expect(ticks[0]).toBe(ticks[1]);
});

test('next and before go through all findings and through depth', async ({ page }) => {
  await open(page);
  await page.getByRole('button', { name: /^Findings/ }).click();
  await panel(page).getByRole('button', { name: 'Next finding' }).click();
  await expect(panel(page).getByRole('heading', { name: 'F0001, missing via' })).toBeVisible();
  await expect(page.locator('[data-now="layer"]')).toHaveText('via2');
  await panel(page).getByRole('button', { name: 'Finding before' }).click();
  await expect(panel(page).getByRole('heading', { name: 'F0005, narrow place' })).toBeVisible();
  await expect(panel(page)).toContainText('6 of 6');
  await page.keyboard.press('Escape');
  await expect(panel(page)).toBeHidden();
  await expect(page.getByRole('button', { name: /^Findings/ })).toBeFocused();
});

test('a decision stays, is seen everywhere, and can be taken back', async ({ page }) => {
  await open(page, `${METAL2}&finding=F0003`);
  await panel(page).getByLabel('Remark').fill('=HYPERLINK("x"), seen twice');
  await panel(page).getByRole('button', { name: 'Accept' }).click();
  await expect(panel(page).getByRole('button', { name: 'Accept' })).toHaveAttribute('aria-pressed', 'true');
  await expect(mark(page, 'F0003')).toHaveAttribute('data-state', 'accept');
  await page.reload();
  await settled(page);
  await expect(mark(page, 'F0003')).toHaveAttribute('data-state', 'accept');
  await expect(panel(page).getByLabel('Remark')).toHaveValue('=HYPERLINK("x"), seen twice');
  await page.goto('scan/counter/findings/');
  await expect(page.locator('#F0003 [data-judgement]')).toContainText('accepted');
  await open(page, `${METAL2}&finding=F0003`);
  await panel(page).getByRole('button', { name: 'Take my decision back' }).click();
  await expect(mark(page, 'F0003')).toHaveAttribute('data-state', 'open');
  await expect(panel(page).getByRole('button', { name: 'Save reviews.csv' })).toBeHidden();
});

test('the saved file is what the next build takes in', async ({ page }) => {
  await open(page, `${METAL2}&finding=F0003`);
  await panel(page).getByLabel('Remark').fill('=1+1, "sure"\nsecond line');
  await panel(page).getByRole('button', { name: 'Accept' }).click();
  await panel(page)
    .getByRole('button', { name: /^F0004/ })
    .click();
  // Rejected in the record already; the reader holds it for real.
  await expect(panel(page)).toContainText('in the record of the campaign');
  await panel(page).getByRole('button', { name: 'Accept' }).click();
  const download = page.waitForEvent('download');
  await panel(page).getByRole('button', { name: 'Save reviews.csv' }).click();
  const file = await download;
  expect(file.suggestedFilename()).toBe('reviews.csv');
  const text = await readFile(await file.path(), 'utf8');
  expect(text).toContain('"\'=1+1, ""sure""\nsecond line"');
  const reviews = parseReviews(text, ['counter']);
  // The two of the record stay, and the two new ones follow.
  expect(reviews.map((review) => [review.id, review.decision])).toEqual([
    ['F0012', 'reject'],
    ['F0002', 'comment'],
    ['F0003', 'accept'],
    ['F0004', 'accept'],
  ]);
  expect(reviews[2]).toMatchObject({
    scan: 'counter',
    kind: 'open',
    layer: 'metal2',
    x_um: FINDINGS[2]!.centre_um[0],
    y_um: FINDINGS[2]!.centre_um[1],
    comment: '=1+1, "sure"\nsecond line',
  });
});

test('a remark alone needs words', async ({ page }) => {
  await open(page, `${METAL2}&finding=F0003`);
  await panel(page).getByRole('button', { name: 'Remark only' }).click();
  await expect(panel(page).getByLabel('Remark')).toBeFocused();
  await expect(mark(page, 'F0003')).toHaveAttribute('data-state', 'open');
});

for (const width of [390, 1280]) {
  test(`the opened panels pass the accessibility rules at ${width} px`, async ({ page }) => {
    await page.setViewportSize({ width, height: 844 });
    await open(page, `${METAL2}&finding=F0003&net=metal2@109.3,84`);
    await expect(page.locator('scan-viewer')).toHaveAttribute('data-net', /^n/);
    expect(await axeFaults(page)).toEqual([]);
    await page.locator('button[data-panel="nets"]').click();
    await expect(page.locator('[data-side="nets"]')).toBeVisible();
    expect(await axeFaults(page)).toEqual([]);
    const over = await page.evaluate(() => document.documentElement.scrollWidth - window.innerWidth);
    expect(over).toBeLessThanOrEqual(0);
  });
}
