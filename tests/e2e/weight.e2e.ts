/** What a page weighs before its first tile, compressed as a server would send it. */
import { gzipSync } from 'node:zlib';
import { expect, PAGES, settled, test } from './support/page.ts';

const KB = 1000;

for (const path of PAGES) {
  test(`/${path} stays within its weight`, async ({ page }) => {
    const parts: { url: string; kind: string; bytes: Promise<number> }[] = [];
    page.on('response', (response) => {
      const url = new URL(response.url()).pathname;
      // Typefaces are compressed already; tiles and their lists are the content, not the page.
      if (url.includes('/data/')) return;
      const bytes = response.body().then(
        (body) => (url.endsWith('.woff2') ? body.length : gzipSync(body, { level: 9 }).length),
        () => 0,
      );
      parts.push({ url, kind: url.slice(url.lastIndexOf('.') + 1), bytes });
    });
    await page.goto(path);
    if (/^scan\/[^/]+\/$/.test(path)) await settled(page);
    await page.waitForLoadState('networkidle');
    let all = 0;
    let script = 0;
    for (const part of parts) {
      const bytes = await part.bytes;
      all += bytes;
      if (part.kind === 'js') script += bytes;
    }
    test.info().annotations.push({ type: 'weight', description: `${all} bytes, scripts ${script}` });
    expect(all).toBeGreaterThan(10 * KB);
    expect(all).toBeLessThan(250 * KB);
    expect(script).toBeLessThan(180 * KB);
    // What is only read needs no script: all pages but those of a scan, the steps of a lesson, and search.
    if (!/^(scan|lessons\/[^/]+|search)\//.test(path) || path.endsWith('record/')) expect(script).toBe(0);
  });
}
