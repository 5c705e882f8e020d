/** Hands for the measuring tests: points put by pointer at places of the die, and what the panel then says. */
import type { Page } from '@playwright/test';
import { expect, settled } from './page.ts';

export const panel = (page: Page) => page.locator('#side-measure');
export const ground = (page: Page) => page.locator('.pane[data-view="image"] .ground');

/** Opens the scan of known lines at a place, with the panel open. */
export async function openLines(
  page: Page,
  x: number,
  y: number,
  width: number,
  show = 'image',
): Promise<void> {
  await page.goto(`scan/lines/#z=1.3&x=${x}&y=${y}&w=${width}&show=${show}`);
  await settled(page);
  await page.getByRole('button', { name: 'Measure', exact: true }).click();
  await expect(panel(page)).toHaveAttribute('data-ready', '');
  // Views give room to the panel and keep their scale; the width that was asked for is set again.
  await page.evaluate(
    (hash) => {
      location.hash = hash;
    },
    `#z=1.3&x=${x}&y=${y}&w=${width + 1e-4}&show=${show}`,
  );
  await expect
    .poll(() => page.evaluate(() => Number(new URLSearchParams(location.hash.slice(1)).get('w'))))
    .toBeCloseTo(width, 3);
  await page.waitForTimeout(100);
}

export const tool = (page: Page, name: string) => panel(page).getByRole('button', { name, exact: true });

/** Place on the page of a point of the die, from the coordinates that the readout says. */
export async function put(page: Page, ...points: readonly (readonly [number, number])[]): Promise<void> {
  const box = (await ground(page).boundingBox())!;
  const middle = [box.x + box.width / 2, box.y + box.height / 2] as const;
  const read = async (dx: number): Promise<[number, number]> => {
    await page.mouse.move(middle[0] + dx, middle[1] + dx);
    const words = await page.locator('[data-read="x"], [data-read="y"]').allTextContents();
    return words.map((one) => Number.parseFloat(one.replace('−', '-'))) as [number, number];
  };
  const [a, b] = [await read(-100), await read(100)];
  const scale = 200 / (b[0] - a[0]);
  for (const [x, y] of points) {
    await page.mouse.click(
      middle[0] + (x - (a[0] + b[0]) / 2) * scale,
      middle[1] - (y - (a[1] + b[1]) / 2) * scale,
    );
    // Two clicks at once would be a double click.
    await page.waitForTimeout(320);
  }
}

/** Moves the crosshair by whole steps of twelve pixels and puts a point. */
export async function step(page: Page, right: number, up: number): Promise<void> {
  for (let n = 0; n < Math.abs(right); n++) await page.keyboard.press(right > 0 ? 'ArrowRight' : 'ArrowLeft');
  for (let n = 0; n < Math.abs(up); n++) await page.keyboard.press(up > 0 ? 'ArrowUp' : 'ArrowDown');
  await page.keyboard.press('Enter');
}

export interface Said {
  readonly value: number;
  readonly half: number;
  readonly drawn: number | null;
}

/** "drawn 280 nm, imaged 320.8 ± 1.5 nm" as numbers. */
export function numbersOf(words: string): Said {
  const plain = words.replaceAll('\u00a0', ' ').replaceAll('−', '-');
  const found = /(?:(?:drawn|nominal) ([\d.]+) nm, imaged )?(-?[\d.]+) ± ([\d.]+)/.exec(plain);
  if (!found) throw new Error(`no value in "${plain}"`);
  return { drawn: found[1] ? Number(found[1]) : null, value: Number(found[2]), half: Number(found[3]) };
}

/** The newest reading, once it is called so. */
export async function said(page: Page, title: string): Promise<Said> {
  await expect(panel(page).locator('[data-m="title"]')).toHaveText(title);
  return numbersOf((await panel(page).locator('[data-m="value"]').textContent()) ?? '');
}

export async function fact(page: Page, name: string): Promise<string> {
  const row = panel(page)
    .locator('[data-m="facts"] div')
    .filter({ has: page.getByText(name, { exact: true }) });
  return ((await row.locator('dd').textContent()) ?? '').replaceAll('\u00a0', ' ');
}
