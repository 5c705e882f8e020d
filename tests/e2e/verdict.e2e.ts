/** The verdict page: what it says, and that it prints on one page. */
import { expect, test } from './support/page.ts';

test('says how much was judged, what was found, and what could not have been', async ({ page }) => {
  await page.goto('scan/counter/verdict/');
  await expect(page.locator('.lede')).toContainText('On 6 of 8 layers image and drawing were compared.');
  await expect(page.locator('.lede')).toContainText('1 missing via, 1 open, 1 bridge and 1 shifted shape');
  await expect(page.getByRole('row', { name: /^metal4/ })).toContainText('not judged');
  await expect(page.getByRole('row', { name: /^metal1/ })).toContainText('350 nm');
  await expect(page.getByRole('row', { name: /^metal1/ })).toContainText('12\u00a0nm out');
  await expect(page.getByText('clk_div3 is broken: via2 at 106.42, 83.28 (99 in 100)')).toBeVisible();
  await expect(page.getByText('rst and clk_div3 touch')).toBeVisible();
  await expect(page.getByText('Anything on contact and metal4: these layers were not judged.')).toBeVisible();
  await expect(page.getByText('rejected 2026-03-02')).toBeVisible();
  await expect(page.locator('.caution')).toContainText('Not a qualified metrology report');
  await expect(page.locator('.caution')).toContainText('Not a security statement');
});

test('prints on one sheet of A4', async ({ page }) => {
  await page.goto('scan/counter/verdict/');
  const pdf = (await page.pdf({ preferCSSPageSize: true })).toString('latin1');
  // @source ISO 32000-1, 7.7.3.3: every page is an object of /Type /Page
  expect(pdf.match(/\/Type\s*\/Page\b(?!s)/g)?.length).toBe(1);
  // A4 in points: 595 by 842.
  const [, width, height] = /\/MediaBox\s*\[\s*0\s+0\s+([\d.]+)\s+([\d.]+)/.exec(pdf)!;
  expect(Math.abs(Number(width) - 595.3)).toBeLessThan(1.5);
  expect(Math.abs(Number(height) - 841.9)).toBeLessThan(1.5);
});

test('a scan in doubt gets no verdict but the reason', async ({ page }) => {
  await page.goto('scan/fine/verdict/');
  await expect(page.locator('.lede')).toContainText('nothing was judged');
  await expect(page.getByRole('heading', { name: 'Found', exact: true })).toHaveCount(0);
  await expect(page.locator('.caution')).toBeVisible();
});
