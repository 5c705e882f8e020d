/**
 * Every page, in one visit: loads clean within its weight, passes the accessibility rules narrow and wide, in the dark
 * and in the light, and has no dead link.
 */
import { axeFaults, expect, PAGES, standing, test } from './support/page.ts';
import { BASE } from './support/port.ts';
import { weigh } from './support/weight.ts';

const KB = 1000;

// Narrow in the dark as it loads, then wide in the light: every width and every scheme once.
const LOOKS = [
  { width: 390, colorScheme: 'dark' },
  { width: 1280, colorScheme: 'light' },
] as const;

for (const path of PAGES) {
  test(`/${path} loads clean within its weight; axe finds nothing and nothing runs over the edge`, async ({
    page,
  }) => {
    const weight = weigh(page);
    for (const [n, { width, colorScheme }] of LOOKS.entries()) {
      await page.setViewportSize({ width, height: 844 });
      await page.emulateMedia({ colorScheme });
      if (n === 0) {
        const answer = await page.goto(path);
        expect(answer?.status()).toBe(200);
        await expect(page.locator('h1')).toHaveCount(1);
      }
      await standing(page);
      expect(await axeFaults(page), `${width} px, ${colorScheme}`).toEqual([]);
      const over = await page.evaluate(() => document.documentElement.scrollWidth - window.innerWidth);
      expect(over, `pixels of sideways scroll at ${width} px`).toBeLessThanOrEqual(0);
    }
    // Scripts that are fetched on the way have come: what runs has been waited for.
    const { all, script } = await weight();
    test.info().annotations.push({ type: 'weight', description: `${all} bytes, scripts ${script}` });
    expect(all).toBeGreaterThan(10 * KB);
    expect(all).toBeLessThan(250 * KB);
    expect(script).toBeLessThan(180 * KB);
    // What is only read needs no script: all pages but those of a scan, the steps of a lesson, and search.
    if (!/^(scan|lessons\/[^/]+|search)\//.test(path) || path.endsWith('record/')) expect(script).toBe(0);
  });
}

test('every link and every file that a page names can be had', async ({ page, request }) => {
  test.setTimeout(120_000);
  const seen = new Set<string>();
  // Frames for other pages are named by what a press of a button copies, not by a link.
  const queue = [BASE, ...PAGES.filter((path) => path.endsWith('/embed/')).map((path) => BASE + path)];
  await page.goto(BASE);
  const dead: string[] = [];
  while (queue.length > 0) {
    const url = queue.pop()!;
    if (seen.has(url)) continue;
    seen.add(url);
    const answer = await request.get(url);
    if (!answer.ok()) {
      dead.push(url);
      continue;
    }
    if (!answer.headers()['content-type']?.startsWith('text/html')) continue;
    const found = await page.evaluate(
      ({ html, url }) =>
        [...new DOMParser().parseFromString(html, 'text/html').querySelectorAll('[href], [src]')].flatMap(
          (element) => {
            const value = element.getAttribute('href') ?? element.getAttribute('src') ?? '';
            const absolute = new URL(value, url);
            return absolute.origin === location.origin ? [absolute.href.replace(/#.*$/, '')] : [];
          },
        ),
      { html: await answer.text(), url },
    );
    queue.push(...found);
  }
  expect(dead).toEqual([]);
  // All pages of the list were met on the way.
  for (const path of PAGES) expect(seen).toContain(BASE + path);
});

test('fragments that a page links to exist', async ({ page }) => {
  await page.goto('');
  const missing = await page.evaluate(() =>
    [...document.querySelectorAll<HTMLAnchorElement>('a[href*="#"]')]
      .filter((link) => link.pathname === location.pathname)
      .map((link) => link.hash.slice(1))
      .filter((id) => document.getElementById(id) === null),
  );
  expect(missing).toEqual([]);
});

test('no address in the built pages begins at the root of the server', async ({ request }) => {
  for (const path of PAGES) {
    const text = await (await request.get(BASE + path)).text();
    const rooted = [...text.matchAll(/(?:href|src|data-root)="(\/[^"]*)"/g)].map((match) => match[1]);
    expect(rooted, path).toEqual([]);
  }
});

test('a Markdown lesson loses its script and its foreign picture, and keeps its own', async ({ page }) => {
  await page.goto('lessons/stack/');
  const article = page.locator('article');
  await expect(article.locator('script')).toHaveCount(0);
  await expect(article.locator('img')).toHaveCount(1);
  expect(await article.locator('img').evaluate((image: HTMLImageElement) => image.naturalWidth)).toBe(240);
});
