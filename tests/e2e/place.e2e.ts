/** Places: permalinks, the linked views, and what is read under the pointer. */
import type { Page } from '@playwright/test';
import { fine, fineGrey, MARK } from '../fixtures/folio/facts.ts';
import { canvasPixel, expect, settled, test } from './support/page.ts';

const field = (page: Page, key: string) =>
  page.evaluate((key) => new URLSearchParams(location.hash.slice(1)).get(key), key);
const read = (page: Page, name: string) => page.locator(`[data-read="${name}"]`);

test('a permalink restores depth, place, width and views', async ({ page }) => {
  await page.goto('scan/fine/#z=3&x=103.25&y=86.5&w=3.5&show=image');
  await settled(page);
  await expect(page.locator('scan-viewer')).toHaveAttribute('data-plate', '14');
  await expect(page.locator('scan-viewer')).toHaveAttribute('data-show', 'image');
  await expect(page.locator('.pane[data-view="drawing"]')).toBeHidden();
  await page.getByText('Share', { exact: true }).click();
  await page.getByRole('button', { name: 'Copy link' }).click();
  expect(Number(await field(page, 'x'))).toBeCloseTo(103.25, 3);
  expect(Number(await field(page, 'y'))).toBeCloseTo(86.5, 3);
  expect(Number(await field(page, 'w'))).toBeCloseTo(3.5, 3);
  // The middle of the canvas is that very pixel: column (103.25 - 100) / 0.05 = 65, row (90 - 86.5) / 0.05 = 70.
  expect((await canvasPixel(page, 'image'))[0]).toBe(fineGrey(65, 70, 14));
});

test('the address follows the reader, and back restores', async ({ page }) => {
  await page.goto('scan/fine/#z=2.4&x=107&y=85&w=6&show=both');
  await settled(page);
  await page.getByRole('slider', { name: 'Depth' }).focus();
  await page.keyboard.press('ArrowUp');
  await expect.poll(() => field(page, 'z')).toBe('2.6');
  await page.locator('.pane[data-view="image"] .ground').focus();
  await page.keyboard.press('ArrowRight');
  await expect.poll(() => field(page, 'x').then(Number)).toBeGreaterThan(107.5);
  // The move is eased: the address is taken once it has come to rest.
  const hash = () => page.evaluate(() => location.hash);
  await expect
    .poll(async () => {
      const before = await hash();
      await page.waitForTimeout(500);
      return before === (await hash());
    })
    .toBe(true);
  const there = await hash();
  await page.evaluate(() => {
    location.hash = '#z=0.4&x=104&y=83&w=5&show=drawing';
  });
  await expect(page.locator('scan-viewer')).toHaveAttribute('data-plate', '1');
  await expect(page.locator('scan-viewer')).toHaveAttribute('data-show', 'drawing');
  await page.goBack();
  await expect(page.locator('scan-viewer')).toHaveAttribute('data-plate', '12');
  await expect(page.locator('scan-viewer')).toHaveAttribute('data-show', 'both');
  await expect.poll(() => page.evaluate(() => location.hash)).toBe(there);
});

test('a broken permalink falls back to the opening view', async ({ page }) => {
  await page.goto('scan/fine/#z=high&x=&w=-3&show=everything');
  await settled(page);
  await expect(page.locator('scan-viewer')).toHaveAttribute('data-show', 'both');
  await expect(page.locator('[data-now="layer"]')).toHaveText('metal2');
});

test('the views stay on the same place', async ({ page }) => {
  await page.goto('scan/fine/#z=2.4&x=107&y=85.05&w=6&show=both');
  await settled(page);
  const drawing = page.locator('.pane[data-view="drawing"] .ground');
  const box = (await drawing.boundingBox())!;
  await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
  await page.mouse.down();
  await page.mouse.move(box.x + box.width / 2 - 120, box.y + box.height / 2, { steps: 6 });
  await page.mouse.up();
  await expect.poll(() => field(page, 'x').then(Number)).toBeGreaterThan(107.8);
  await page.waitForTimeout(700);
  // Both canvases show the same ticks: the texts along their edges are equal.
  const ticks = await page.locator('.graticule').evaluateAll((all) => all.map((one) => one.textContent));
  expect(ticks[0]).toBe(ticks[1]);
  expect(ticks[0]!.length).toBeGreaterThan(4);
});

for (const [column, row, index] of [
  [12, 17, 14],
  [281, 5, 0],
  [257, 133, 9],
  [MARK.column + 4, MARK.row + 4, 19],
] as const) {
  test(`pixel ${column}, ${row} of plate ${index} reads its place and its value`, async ({ page }) => {
    const x = fine.grid.origin_um[0] + column * fine.grid.pixel_um;
    const y = fine.grid.origin_um[1] - row * fine.grid.pixel_um;
    const z = fine.zUm[index]!;
    await page.goto(`scan/fine/#z=${z}&x=${x.toFixed(3)}&y=${y.toFixed(3)}&w=2&show=both`);
    await settled(page);
    const box = (await page.locator('.pane[data-view="image"] .ground').boundingBox())!;
    await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
    const grey = fineGrey(column, row, index);
    // From grey to the volume's unit by hand: black + (white - black) * grey / 255, black rising by 0.1 a plate, here steps of 0.02 e/Å³.
    const value = (-0.25 + 0.1 * index + (5.1 * grey) / 255).toFixed(2).replace('-', '\u2212');
    await expect(read(page, 'value')).toHaveText(`${value}\u00a0e/Å³`);
    const shown = async (name: string) =>
      Number((await read(page, name).textContent())!.replace(/[^\d.]/g, ''));
    // A pointer stands on a whole pixel of the screen: at 2 µm over the pane that is a few nanometres.
    expect(Math.abs((await shown('x')) - x)).toBeLessThan(0.006);
    expect(Math.abs((await shown('y')) - y)).toBeLessThan(0.006);
    await expect(read(page, 'z')).toHaveText(`${z.toFixed(2)}\u00a0µm`);
    // The twin of the pointer stands in the other view.
    await expect(page.locator('.pane[data-view="drawing"] .twin')).toHaveAttribute('visibility', 'visible');
  });
}

test('where the image holds no data the readout says so, and outside it says nothing', async ({ page }) => {
  await page.goto('scan/fine/#z=2.4&x=100.2&y=80.2&w=2&show=image');
  await settled(page);
  const box = (await page.locator('.pane[data-view="image"] .ground').boundingBox())!;
  await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
  await expect(read(page, 'value')).toHaveText('no data');
  await page.mouse.move(box.x + 5, box.y + box.height / 2);
  await expect(read(page, 'value')).toHaveText('–');
  await expect(read(page, 'x')).toHaveText('–');
});

test('a scan without a place names its coordinates as its own and shows no drawing', async ({ page }) => {
  await page.goto('scan/drift/');
  await settled(page);
  await expect(page.getByText('Coordinates are scan coordinates.')).toBeVisible();
  await expect(page.locator('.pane')).toHaveCount(1);
  await expect(page.locator('.readout dt').first()).toHaveText('scan X');
});

test('the portrait of a layer reads values too, beside its drawing', async ({ page }) => {
  await page.goto('scan/fine/layer/metal2/');
  await expect(page.locator('layer-pair')).toHaveAttribute('data-ready', '');
  await expect(page.locator('.pane.drawn')).toHaveCount(2);
  const box = (await page.locator('.pane[data-view="drawing"] .ground').boundingBox())!;
  await page.locator('.pane[data-view="drawing"] .ground').scrollIntoViewIfNeeded();
  await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
  await expect(read(page, 'value')).toHaveText(/e\/Å³$/);
});
