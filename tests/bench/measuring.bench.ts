/**
 * How long a reader waits for a reading and for a section, in Chromium: node tests/bench/measuring.bench.ts [folio]
 * Times are the page's own, from the last point to the value; the first of each kind includes the fetch of its tiles.
 */
import { chromium } from '@playwright/test';
import { buildSite, WORK } from '../e2e/support/build-site.ts';
import { CHROMIUM_FLAGS, findChromium } from '../e2e/support/chromium.ts';
import { BELOW, serveFolio } from '../e2e/support/server.ts';

const PORT = 4395;
const TIMES = 12;
const folder = process.argv[2] ?? (await buildSite(`${WORK}-bench`));
const server = await serveFolio(folder, PORT);
const browser = await chromium.launch({ executablePath: findChromium(), args: CHROMIUM_FLAGS });
const page = await browser.newPage({ viewport: { width: 1280, height: 800 } });
await page.goto(`http://127.0.0.1:${PORT}${BELOW}scan/lines/#z=1.3&x=51.14&y=57.6&w=2&show=image`);
await page.getByRole('button', { name: 'Measure', exact: true }).click();
const panel = page.locator('#side-measure[data-ready]');
const box = (await page.locator('.pane[data-view="image"] .ground').boundingBox())!;
const middle = [box.x + box.width / 2, box.y + box.height / 2] as const;
const put = async (dx: number, dy: number): Promise<void> => {
  await page.mouse.click(middle[0] + dx, middle[1] + dy);
  await page.waitForTimeout(350);
};
const spread = (name: string, times: readonly number[]): void => {
  const sorted = [...times].sort((a, b) => a - b);
  const at = (share: number): string => sorted[Math.floor(share * (sorted.length - 1))]!.toFixed(1);
  console.log(
    `${name}: first ${times[0]!.toFixed(1)} ms, median ${at(0.5)} ms, longest later ${Math.max(...times.slice(1)).toFixed(1)} ms`,
  );
};
const widths: number[] = [];
await panel.getByRole('button', { name: 'Width', exact: true }).click();
for (let n = 0; n < TIMES; n++) {
  await put(-130, 10 * n - 50);
  await put(130, 10 * n - 44);
  widths.push(Number(await page.locator('#side-measure').getAttribute('data-took-ms')));
}
spread('width on a plate', widths);
const cuts: number[] = [];
for (let n = 0; n < TIMES; n++) {
  await panel.getByRole('button', { name: 'Draw a section', exact: true }).click();
  await put(-150, 4 * n - 60);
  await put(150, 4 * n - 60);
  await page.locator('.section-strip[data-ready]').waitFor();
  cuts.push(Number(await page.locator('.section-strip').getAttribute('data-cut-ms')));
}
spread('section from the brick', cuts);
await browser.close();
server.closeAllConnections();
server.close();
