/** The table of findings: order, choice, address, keyboard, pictures, downloads. */
import type { Page } from '@playwright/test';
import { parseCsv } from '../../shared/csv.ts';
import { FINDINGS } from '../fixtures/folio/counter-facts.ts';
import { expect, test } from './support/page.ts';

const shown = (page: Page) => page.locator('table.findings tbody tr:not([hidden]) .id a').allTextContents();
/** From the fixture, without any code of the site: the likeliest first. */
const byOdds = [...FINDINGS].sort((a, b) => b.probability - a.probability).map((finding) => finding.id);

async function open(page: Page, fragment = ''): Promise<void> {
  await page.goto(`scan/counter/findings/${fragment}`);
  await expect(page.locator('findings-table')).toHaveAttribute('data-ready', '');
  // Keys and clicks mean nothing before the table has come alive.
  await page.evaluate(() => customElements.whenDefined('findings-table').then(() => undefined));
}

test('stands in the order of odds, and turns by its heads', async ({ page }) => {
  await open(page);
  expect(await shown(page)).toEqual(byOdds);
  const odds = page.getByRole('columnheader', { name: 'Odds' });
  await expect(odds).toHaveAttribute('aria-sort', 'descending');
  await odds.getByRole('button').click();
  expect(await shown(page)).toEqual(byOdds.toReversed());
  await expect(odds).toHaveAttribute('aria-sort', 'ascending');
  await page.getByRole('button', { name: 'Number' }).click();
  expect(await shown(page)).toEqual(FINDINGS.map((finding) => finding.id));
  await expect(page).toHaveURL(/#sort=id&order=rising$/);
  // The top metal first: metal3, via2, metal2 twice, metal1, poly.
  await page.getByRole('button', { name: 'Layer' }).click();
  expect(await shown(page)).toEqual(['F0004', 'F0001', 'F0003', 'F0005', 'F0002', 'F0006']);
});

test('is chosen from by layer, kind, odds and net, and says how many', async ({ page }) => {
  await open(page);
  const form = page.getByRole('form', { name: 'Which findings' });
  await form.getByRole('combobox', { name: 'Layer', exact: true }).selectOption('metal2');
  expect(await shown(page)).toEqual(['F0003', 'F0005']);
  await expect(page.locator('[data-count]')).toHaveText('2 of 6 findings');
  await form.getByRole('combobox', { name: 'Kind', exact: true }).selectOption('open');
  expect(await shown(page)).toEqual(['F0003']);
  await form.getByRole('button', { name: 'Show all' }).click();
  expect(await shown(page)).toEqual(byOdds);
  await form.getByRole('combobox', { name: 'Odds', exact: true }).selectOption('90');
  expect(await shown(page)).toEqual(['F0001', 'F0002', 'F0003', 'F0006']);
  await form.getByRole('combobox', { name: 'Net' }).fill('CLK');
  expect(await shown(page)).toEqual(['F0001', 'F0002']);
  await form.getByRole('combobox', { name: 'Net' }).fill('nothing of this name');
  expect(await shown(page)).toEqual([]);
  await expect(page.getByText('No finding is as the choice above asks.')).toBeVisible();
});

test('an address brings the same choice back, and a broken one shows all', async ({ page }) => {
  await open(page, '#kind=missing-via&odds=50');
  expect(await shown(page)).toEqual(['F0001']);
  await expect(page.getByRole('combobox', { name: 'Kind', exact: true })).toHaveValue('missing-via');
  await page.evaluate(() => {
    location.hash = '#layer=metal3&sort=size';
  });
  await expect.poll(() => shown(page)).toEqual(['F0004']);
  await open(page, '#kind=everything&odds=many&sort=mood');
  expect(await shown(page)).toEqual(byOdds);
});

test('arrow keys lead from finding to finding', async ({ page }) => {
  await open(page);
  const link = (id: string) => page.locator(`#${id} .id a`);
  await link('F0001').focus();
  await page.keyboard.press('ArrowDown');
  await expect(link('F0002')).toBeFocused();
  await page.keyboard.press('End');
  await expect(link('F0005')).toBeFocused();
  await page.keyboard.press('ArrowDown');
  await expect(link('F0005')).toBeFocused();
  await page.keyboard.press('Home');
  await expect(link('F0001')).toBeFocused();
  // The table is shown anew and in another order: the keyboard stays where it was.
  await page.evaluate(() => {
    location.hash = '#sort=size';
  });
  await expect.poll(() => shown(page)).not.toEqual(byOdds);
  await expect(link('F0001')).toBeFocused();
});

test('pictures show image, drawing and difference of the place', async ({ page }) => {
  await open(page);
  const middle = (id: string, n: number) =>
    page
      .locator(`#${id} .trio canvas`)
      .nth(n)
      .evaluate((canvas: HTMLCanvasElement) => [
        ...canvas.getContext('2d')!.getImageData(canvas.width >> 1, canvas.height >> 1, 1, 1).data,
      ]);
  for (const id of ['F0002', 'F0003', 'F0001']) {
    await page.locator(`#${id}`).scrollIntoViewIfNeeded();
    await expect(page.locator(`#${id} .trio canvas`)).toHaveCount(3);
  }
  // A bridge: bright in the image, not drawn, and blue (more than drawn) in the difference.
  expect((await middle('F0002', 0))[0]).toBeGreaterThan(180);
  expect((await middle('F0002', 1))[3]).toBe(0);
  const [r2, , b2] = await middle('F0002', 2);
  expect(b2! - r2!).toBeGreaterThan(60);
  // A missing via and a gap: dark in the image, drawn, and orange (less than drawn).
  for (const id of ['F0001', 'F0003']) {
    expect((await middle(id, 0))[0], id).toBeLessThan(120);
    expect((await middle(id, 1))[3], id).toBe(255);
    const [r, , b] = await middle(id, 2);
    expect(r! - b!, id).toBeGreaterThan(60);
  }
});

test('says the measured hit rate beside a finding, and what could not be judged', async ({ page }) => {
  await open(page);
  // 39 of 40 planted were found: 97.5 in a hundred, said as 97.
  await expect(page.locator('#F0001 .rate')).toContainText(
    'On this scan, a missing via of 500 nm on via2 is found 97 times in 100.',
  );
  await expect(page.locator('#F0006 .rate')).toHaveCount(0);
  const row = page.getByRole('row', { name: /^metal4/ });
  await expect(row).toContainText('The scan does not reach this layer.');
  await expect(page.getByText('metal1: 12 squares of 600 nm')).toBeVisible();
});

test('a judgement of an earlier build meets its finding by place, one without a finding is listed', async ({
  page,
}) => {
  await open(page);
  await expect(page.locator('#F0004 [data-judgement]')).toHaveText(
    'rejected, 2026-03-02dust on the sample, seen in the optical view',
  );
  const earlier = page.locator('section[aria-labelledby="earlier"]');
  await expect(earlier.getByRole('row', { name: /F0002/ })).toContainText('look again in the next build');
  await page.getByRole('combobox', { name: 'Judged', exact: true }).selectOption('reject');
  expect(await shown(page)).toEqual(['F0004']);
});

test('downloads hold every finding, and no cell that a spreadsheet would run', async ({ page, request }) => {
  await open(page);
  const address = (name: string) =>
    page.getByRole('link', { name }).evaluate((link: HTMLAnchorElement) => link.href);
  const csv = await (await request.get(await address('All findings as CSV'))).text();
  const [header, ...rows] = parseCsv(csv, 'findings.csv').map((row) => row.cells);
  expect(rows.map((row) => row[1])).toEqual(FINDINGS.map((finding) => finding.id));
  const nets = header!.indexOf('nets');
  expect(rows[4]![nets]).toBe("'=1+1");
  expect(rows.flat().filter((cell) => /^[=+@]/.test(cell))).toEqual([]);
  expect(rows[3]![header!.indexOf('decision')]).toBe('reject');
  const json = await (await request.get(await address('All findings as JSON'))).json();
  expect(json.findings.length).toBe(FINDINGS.length);
});

test('a link of the table opens the viewer at the place', async ({ page }) => {
  await open(page);
  await page.locator('#F0003 .id a').click();
  await expect(page.locator('scan-viewer')).toHaveAttribute('data-ready', '');
  await expect(page.locator('[data-now="layer"]')).toHaveText('metal2');
  await expect(page.getByRole('heading', { name: 'F0003, open' })).toBeVisible();
});

test('scans that were not judged say so and why', async ({ page }) => {
  await page.goto('scan/fine/findings/');
  await expect(page.getByText('The place of this scan is in doubt.', { exact: false }).first()).toBeVisible();
  await expect(page.locator('findings-table')).toHaveCount(0);
  await page.goto('scan/drift/findings/');
  await expect(page.getByText('no place in the layout', { exact: false })).toBeVisible();
});

test('on a phone the longest words for odds stay on the page', async ({ page }) => {
  await page.setViewportSize({ width: 390, height: 844 });
  await page.goto('scan/counter/findings/');
  await page.locator('td.odds').evaluateAll((cells) => {
    for (const cell of cells) cell.textContent = 'more than 99 in 100';
  });
  expect(await page.evaluate(() => document.documentElement.scrollWidth)).toBeLessThanOrEqual(390);
});
