/** Packed folios: the same pictures and numbers as loose ones, by byte ranges, or whole where a host knows no ranges. */
import { readFileSync, truncateSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Page } from '@playwright/test';
import { fine, fineGrey, fineWindow, MARK, markGrey } from '../fixtures/folio/facts.ts';
import { openLines, put, said, tool } from './support/measuring.ts';
import { expect, test } from './support/packed-folio.ts';
import { canvasPixel, settled } from './support/page.ts';
import { BASE } from './support/port.ts';

const AT_MARK = '#z=2.4&x=107&y=85.05&w=4&show=both';
const middle = (index: number): number[] => [...Array(3).fill(markGrey(index)), 255];

/** Moves the pointer to a pixel of the grid that the view stands at, and says what is read there. */
async function readout(page: Page, base: string, column: number, row: number): Promise<string> {
  const [x, y] = [100 + 0.05 * column, 90 - 0.05 * row];
  // A new page each time: what is read is the value of this plate's tiles and no other's.
  await page.goto('about:blank');
  await page.goto(`${base}scan/fine/#z=3&x=${x}&y=${y}&w=2&show=image`);
  await settled(page);
  const box = (await page.locator('.pane[data-view="image"] .ground').boundingBox())!;
  await page.mouse.move(box.x + box.width / 2 - 2, box.y + box.height / 2 - 2);
  await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
  const value = page.locator('[data-read="value"]');
  await expect(value).not.toHaveText('–');
  return (await value.textContent()) ?? '';
}

test('plates come by ranges, follow the depth, and read the numbers that loose tiles read', async ({
  page,
  packed,
}) => {
  const asked: { url: string; range: string | undefined }[] = [];
  page.on('request', (request) => {
    const url = request.url();
    if (/\.tif$|_files\//.test(url)) asked.push({ url, range: request.headers().range });
  });
  await page.goto(`scan/fine/${AT_MARK}`);
  await settled(page);
  await expect.poll(() => canvasPixel(page, 'image')).toEqual(middle(11));
  await page.getByRole('slider', { name: 'Depth' }).focus();
  for (const [key, index] of [
    ['ArrowUp', 12],
    ['End', 19],
    ['Home', 0],
  ] as const) {
    await page.keyboard.press(key);
    await settled(page);
    await expect.poll(() => canvasPixel(page, 'image')).toEqual(middle(index));
  }
  const tiles = asked.filter(({ url }) => url.endsWith('.tif'));
  expect(tiles.length).toBeGreaterThan(4);
  expect(tiles.filter(({ range }) => !range?.startsWith('bytes='))).toEqual([]);
  // Only posters are asked for as loose files.
  expect(asked.filter(({ url }) => url.includes('plates/') && url.includes('_files/')).length).toBeLessThan(
    2,
  );
  await expect(page.locator('.whole-files')).toHaveCount(0);

  // The hand-worked value of a pixel, in the second column of tiles, and a place without data.
  const grey = fineGrey(270, 150, 14);
  const { black, white } = fineWindow(14);
  const value = Number.parseFloat((await readout(page, packed.address, 270, 150)).replace('−', '-'));
  expect(value).toBeCloseTo(black + (grey / 255) * (white - black), 1);
  for (const [column, row] of [
    [270, 150],
    [MARK.column, MARK.row],
    [5, 195],
  ] as const)
    expect(await readout(page, packed.address, column, row)).toBe(await readout(page, BASE, column, row));
});

test('places without data are transparent, and drawings have their colour', async ({ page }) => {
  const { pixel_um: pixel, origin_um: origin } = fine.grid;
  await page.goto(`scan/fine/#z=2.4&x=${origin[0] + 8 * pixel}&y=${origin[1] - 190 * pixel}&w=0.5&show=both`);
  await settled(page);
  expect((await canvasPixel(page, 'image'))[3]).toBe(0);
  await page.goto('scan/fine/layer/metal2/');
  await expect(page.locator('.pane.drawn')).toHaveCount(2);
  // metal2 is drawn as stripes along the rows: 14 of every 40 pixels.
  await expect
    .poll(async () => {
      const opacities: number[] = [];
      for (let y = 0.3; y < 0.7; y += 0.02) opacities.push((await canvasPixel(page, 'drawing', 0.5, y))[3]!);
      return new Set(opacities).size;
    })
    .toBeGreaterThan(1);
});

test('a width on packed tiles is that on loose ones', async ({ page }) => {
  await openLines(page, 51.14, 57.6, 2);
  await tool(page, 'Width').click();
  await put(page, [50.8, 57.62], [51.5, 57.5]);
  // As in measure.e2e.ts: a drawn line of 280 nm whose image stands 20 nm out on either side.
  const { value, half, drawn } = await said(page, '1 Width');
  expect(drawn).toBe(280);
  expect(Math.abs(value - 320)).toBeLessThan(3);
  expect(half).toBeLessThan(4);
});

test('a host without ranges is noticed, and everything is there all the same', async ({ page, packed }) => {
  await page.goto(`${packed.withoutRanges}scan/fine/${AT_MARK}`);
  await settled(page);
  await page.getByRole('slider', { name: 'Depth' }).focus();
  await page.keyboard.press('ArrowDown');
  await settled(page);
  await expect.poll(() => canvasPixel(page, 'image')).toEqual(middle(10));
  // These plates are larger than what is asked for first.
  await page.goto(`${packed.withoutRanges}scan/lines/#z=1.3`);
  await settled(page);
  const notice = page.locator('.whole-files');
  await expect(notice).toContainText('tiles: loose');
  await notice.getByRole('button', { name: 'Close' }).click();
  await expect(notice).toHaveCount(0);
});

test('a damaged file ends in words, and the other plates are there', async ({ page, packed }) => {
  const plates = join(packed.folio, 'data/fine/plates');
  const whole = readFileSync(join(plates, '0011.tif'));
  try {
    truncateSync(join(plates, '0011.tif'), 300);
    await page.goto(`scan/fine/${AT_MARK}`);
    await expect(page.locator('.pane[data-view="image"] [data-note]')).toHaveText(/could not be loaded/);
    await page.getByRole('slider', { name: 'Depth' }).focus();
    await page.keyboard.press('ArrowUp');
    await expect.poll(() => canvasPixel(page, 'image')).toEqual(middle(12));
  } finally {
    writeFileSync(join(plates, '0011.tif'), whole);
  }
});
