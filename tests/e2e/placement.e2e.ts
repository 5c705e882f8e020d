/** Why a placement is believed, or not: evidence, and image against drawing. */
import type { Page } from '@playwright/test';
import { expect, test } from './support/page.ts';

const drawingAt = (page: Page, share: number) =>
  page
    .locator('.compare-pair')
    .first()
    .evaluate((pair, share) => {
      const drawing = pair.querySelector<HTMLElement>('.drawing')!;
      const cut = /inset\(0(?:px)? ([\d.]+)%/.exec(drawing.style.clipPath)?.[1] ?? '0';
      return share * 100 < 100 - Number(cut);
    }, share);

test('a clear placement shows its numbers, curves, peak, decoys and arrows', async ({ page }) => {
  await page.goto('scan/counter/placement/');
  await expect(page.getByRole('heading', { name: 'Why the placement is believed' })).toBeVisible();
  await expect(
    page.getByText('5 places that are known to be wrong were tried; the best of them scores 0.28'),
  ).toBeVisible();
  await expect(page.getByText('The next best place reaches 0.34 where this one reaches 0.86')).toBeVisible();
  // metal2 lies from 2.01 to 2.61 µm, its curve is highest in the middle.
  await expect(page.getByRole('img', { name: /metal2 best at 2\.3\d µm/ })).toBeVisible();
  await expect(page.getByRole('img', { name: /48 arrows/ })).toBeVisible();
  for (const name of [/Correlation round the placement/, /Correlation round the runner-up/]) {
    const size = await page.getByRole('img', { name }).evaluate((img: HTMLImageElement) => img.naturalWidth);
    expect(size).toBe(33);
  }
});

test('image and drawing are wiped over each other at four places, on any layer', async ({ page }) => {
  await page.goto('scan/counter/placement/');
  const compare = page.locator('place-compare');
  await compare.scrollIntoViewIfNeeded();
  await expect(page.locator('.compare-pair')).toHaveCount(4);
  expect(await drawingAt(page, 0.25)).toBe(true);
  expect(await drawingAt(page, 0.75)).toBe(false);
  await page.getByRole('slider').fill('90');
  expect(await drawingAt(page, 0.75)).toBe(true);
  await compare.getByRole('combobox', { name: 'Layer' }).selectOption('metal1');
  await expect(compare).toHaveAttribute('data-ready', 'metal1');
  // The wipe stays where it was put, and each place leads to the viewer.
  expect(await drawingAt(page, 0.75)).toBe(true);
  await expect(compare.getByRole('link')).toHaveCount(4);
});

test('taking turns runs and stops; with little motion wanted each press is one turn', async ({ page }) => {
  await page.goto('scan/counter/placement/');
  await page.locator('place-compare').scrollIntoViewIfNeeded();
  await expect(page.locator('.compare-pair')).toHaveCount(4);
  const button = page.getByRole('button', { name: 'Take turns' });
  await button.click();
  await expect(button).toHaveAttribute('aria-pressed', 'true');
  await expect.poll(() => drawingAt(page, 0.75)).toBe(true);
  await expect.poll(() => drawingAt(page, 0.25)).toBe(false);
  await button.click();
  await expect(button).toHaveAttribute('aria-pressed', 'false');
  await page.emulateMedia({ reducedMotion: 'reduce' });
  await button.click();
  const first = await drawingAt(page, 0.25);
  await button.click();
  expect(await drawingAt(page, 0.25)).toBe(!first);
  await expect(button).toHaveAttribute('aria-pressed', 'false');
});

test('a doubt is said on its page, on the front page and in the viewer', async ({ page }) => {
  await page.goto('scan/fine/placement/');
  await expect(page.getByRole('heading', { name: 'Why the placement is in doubt' })).toBeVisible();
  await expect(page.getByText('nearly as good, so the two cannot be told apart')).toBeVisible();
  await expect(page.getByText('The field repeats every 12.0')).toBeVisible();
  await page.goto('scan/drift/placement/');
  await expect(page.getByRole('heading', { name: 'Why there is no placement' })).toBeVisible();
  await page.goto('');
  await expect(page.getByText('place in doubt').first()).toBeVisible();
  await page.goto('scan/fine/');
  await page.locator('.viewer-doubt summary').click();
  await page.getByRole('link', { name: 'The evidence for and against this place' }).click();
  await expect(page).toHaveURL(/scan\/fine\/placement\/$/);
});
