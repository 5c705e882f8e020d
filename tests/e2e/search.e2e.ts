/** Searching the folio: every kind of thing is found, nothing is loaded before, and names are never markup. */
import { axeFaults, expect, test } from './support/page.ts';

test('finds pages, layers, nets, cells, findings, lessons and words', async ({ page }) => {
  await page.goto('search/');
  const input = page.getByRole('searchbox');
  const hit = (group: string) =>
    page.locator('folio-search section', { has: page.getByRole('heading', { name: group, exact: true }) });
  await input.fill('clk_div3');
  await expect(hit('Nets').getByRole('link', { name: 'clk_div3' })).toHaveAttribute(
    'href',
    /scan\/counter\/#z=.*net=/,
  );
  await expect(hit('Findings').getByRole('link').first()).toHaveAttribute('href', /#finding=F\d{4}/);
  await input.fill('metal2');
  await expect(hit('Layers').getByRole('link').first()).toHaveAttribute('href', /layer\/metal2\/$/);
  await input.fill('wire');
  await expect(hit('Lessons').getByRole('link').first()).toHaveAttribute('href', /lessons\/find\//);
  await input.fill('missing cone');
  await expect(hit('Words').getByRole('link', { name: 'missing cone' })).toHaveAttribute(
    'href',
    /glossary\/#missing-cone$/,
  );
  await input.fill('placemnt');
  await expect(hit('Pages').getByRole('link', { name: 'Placement' }).first()).toBeVisible();
  await input.fill('zzzz');
  await expect(page.locator('[data-count]')).toHaveText('Nothing is called “zzzz”.');
  await expect(page).toHaveURL(/\?q=zzzz$/);
});

test('a search in the address is carried out, and its results pass the accessibility rules', async ({
  page,
}) => {
  await page.goto('search/?q=metal');
  await expect(page.locator('.hits a').first()).toBeVisible();
  expect(await axeFaults(page)).toEqual([]);
  await page.locator('.hits a').first().click();
  await expect(page.locator('h1')).toBeVisible();
});

test('the index is fetched with the first search only', async ({ page }) => {
  const fetched: string[] = [];
  page.on('request', (request) => fetched.push(request.url()));
  await page.goto('search/');
  await page.waitForLoadState('networkidle');
  expect(fetched.filter((url) => url.endsWith('.json'))).toEqual([]);
  await page.getByRole('searchbox').fill('clk');
  await expect(page.locator('.hits a').first()).toBeVisible();
  expect(fetched.filter((url) => url.endsWith('.json')).length).toBeLessThanOrEqual(3);
});

test('a name from a layout is text', async ({ page }) => {
  await page.route('**/search/names/0.json', (route) =>
    route.fulfill({
      json: [
        { name: '<img src=x onerror=alert(1)>', kind: 'net', address: 'scan/counter/', place: '<b>x</b>' },
      ],
    }),
  );
  await page.goto('search/?q=img');
  await expect(page.locator('.hits').getByText('<img src=x onerror=alert(1)>')).toBeVisible();
  await expect(page.locator('.hits img, .hits b')).toHaveCount(0);
});
