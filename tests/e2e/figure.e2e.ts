/** Figures for print: one press, one file, with everything burnt in. */
import { readFile } from 'node:fs/promises';
import type { Page } from '@playwright/test';
import sharp from 'sharp';
import { lines, linesGrey } from '../fixtures/folio/lines-facts.ts';
import { openLines, panel, put, said, tool } from './support/measuring.ts';
import { expect, settled, test } from './support/page.ts';

async function save(page: Page, name: string) {
  const wait = page.waitForEvent('download');
  await page.getByText('Share', { exact: true }).click();
  await page.getByRole('button', { name, exact: true }).click();
  const saved = await wait;
  return { name: saved.suggestedFilename(), bytes: await readFile(await saved.path()) };
}

test('a PNG of 170 mm at 300 dpi, its pixels from the tiles and not from the screen', async ({ page }) => {
  await page.goto('scan/lines/#z=1.3&x=51.14&y=57.6&w=0.5&show=image');
  await settled(page);
  const { name, bytes } = await save(page, 'Save figure');
  expect(name).toBe('lines-plate-25.png');
  const { width, density, height } = await sharp(bytes).metadata();
  expect(width).toBe(2008);
  expect(density).toBe(300);
  // The middle of the picture is the pixel at X 51.14, Y 57.6: column 57, row 120.
  const ground = (await page.locator('.pane[data-view="image"] .ground').boundingBox())!;
  const top = Math.round(((2.6 * 1.6) / 25.4) * 300);
  const middle = Math.round(top + (ground.height / ground.width) * 1004);
  expect(middle).toBeLessThan(height!);
  const { data } = await sharp(bytes)
    .extract({ left: 1004, top: middle, width: 1, height: 1 })
    .raw()
    .toBuffer({ resolveWithObject: true });
  const { grid } = lines;
  const at = [
    (51.14 - grid.origin_um[0]) / grid.pixel_um,
    (grid.origin_um[1] - 57.6) / grid.pixel_um,
  ] as const;
  expect(data[0]).toBe(linesGrey(Math.round(at[0]), Math.round(at[1]), 25));
});

test('an SVG with scale, layer, height, reading, citation and licence as text', async ({ page }) => {
  await openLines(page, 51.14, 57.6, 2, 'both');
  await tool(page, 'Distance').click();
  await put(page, [50.9, 57.6], [51.4, 57.6]);
  await said(page, '1 Distance');
  await panel(page).getByRole('button', { name: 'Distance', exact: true }).click();
  const { name, bytes } = await save(page, 'Save figure as SVG');
  expect(name).toBe('lines-plate-25.svg');
  const text = bytes.toString('utf8');
  for (const words of [
    'Tide gauge logger, lot 7, Lines of known width',
    'metal1, z = 1.300',
    'A. Example; B. Sample (2026)',
    'https://doi.org/10.5555/example',
    'Licence: CC-BY-4.0',
    'Drawing: metal1',
    'nm</text>',
    '±',
  ])
    expect(text, words).toContain(words);
  expect(text.match(/<image /g)).toHaveLength(2);
  // Another program can draw it.
  expect((await sharp(bytes).metadata()).format).toBe('svg');
});
