/** Following a wire: click, light, layers, ends, names, cells. */
import type { Page } from '@playwright/test';
import { boxUm, WIRES } from '../fixtures/folio/counter-facts.ts';
import { expect, settled, test } from './support/page.ts';

const panel = (page: Page) => page.locator('[data-side="nets"]');
const lit = (page: Page) => page.locator('scan-viewer');
const centre = (net: string, layer: string): [number, number] => {
  const wire = WIRES.find((one) => one.net === net && one.layer === layer)!;
  const [x0, y0, x1, y1] = boxUm(wire.box);
  return [(x0 + x1) / 2, (y0 + y1) / 2];
};

async function open(page: Page, x: number, y: number, z = 1.2, width = 12, more = ''): Promise<void> {
  await page.goto(`scan/counter/#z=${z}&x=${x}&y=${y}&w=${width}&show=both${more}`);
  await settled(page);
}

async function clickMiddle(page: Page, view: 'image' | 'drawing'): Promise<void> {
  const box = (await page.locator(`.pane[data-view="${view}"] .ground`).boundingBox())!;
  await page.mouse.click(box.x + box.width / 2, box.y + box.height / 2);
}

/** Opacity of the overlay at a place of the die, from the camera that the address says. */
const overlayAt = (page: Page, view: string, x: number, y: number) =>
  page.evaluate(
    ([view, x, y]) => {
      const canvas = document.querySelector<HTMLCanvasElement>(`.pane[data-view="${view}"] .net-overlay`)!;
      const fields = new URLSearchParams(location.hash.slice(1));
      const at = (key: string): number => Number(fields.get(key));
      const scale = canvas.width / at('w');
      const column = Math.round(canvas.width / 2 + (x - at('x')) * scale);
      const row = Math.round(canvas.height / 2 - (y - at('y')) * scale);
      return [...canvas.getContext('2d')!.getImageData(column, row, 1, 1).data];
    },
    [view, x, y] as const,
  );

for (const view of ['image', 'drawing'] as const) {
  test(`a click on metal in the ${view} lights the whole net through all layers`, async ({ page }) => {
    const [x, y] = centre('clk_div3', 'metal1');
    await open(page, x, y, 1.2, 20);
    await clickMiddle(page, view);
    await expect(lit(page)).toHaveAttribute('data-net', 'n1');
    await expect(panel(page).getByRole('heading', { name: 'clk_div3' })).toBeVisible();
    // By hand from the drawing: 6.0 + 6.0 + 7.9 µm along the longer sides, one via of each kind.
    await expect(panel(page).locator('[data-n="length"]')).toHaveText('19.9\u00a0µm');
    await expect(panel(page).locator('[data-n="vias"]')).toHaveText('2');
    await expect
      .poll(async () =>
        (await panel(page).locator('[data-layers] button').allTextContents()).map((t) => t.split(' ')[0]),
      )
      .toEqual(['metal3', 'via2', 'metal2', 'via1', 'metal1']);
    // The views gave room to the panel; the address has followed by then.
    await expect
      .poll(async () => (await overlayAt(page, view, ...centre('clk_div3', 'metal1')))[3])
      .toBeGreaterThan(100);
    for (const layer of ['metal1', 'metal3']) {
      await expect
        .poll(async () => (await overlayAt(page, 'image', ...centre('clk_div3', layer)))[3], {
          message: layer,
        })
        .toBeGreaterThan(30);
    }
    expect((await overlayAt(page, 'image', ...centre('rst', 'metal1')))[3]).toBe(0);
  });
}

test('a click beside all wires says so and lights nothing', async ({ page }) => {
  await open(page, 104, 88.8);
  await clickMiddle(page, 'drawing');
  await expect(page.locator('[data-announce]')).toHaveText('No wire is drawn here on metal1.');
  await expect(lit(page)).not.toHaveAttribute('data-net', /^n/);
});

test('the net and the cell under a resting pointer are named', async ({ page }) => {
  await open(page, ...centre('rst', 'metal1'));
  const box = (await page.locator('.pane[data-view="image"] .ground').boundingBox())!;
  await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
  await expect(page.locator('[data-read="net"]')).toHaveText('rst');
  // X 103.2 and Y 85.7 lie in the counter cell, just above its gate.
  await expect(page.locator('[data-read="cell"]')).toHaveText('COUNTER_BIT in TGL7');
});

test('up and down follow the net from layer to layer, and stop at its ends', async ({ page }) => {
  const [x, y] = centre('clk_div3', 'metal1');
  await open(page, x, y, 1.2, 3, `&net=metal1@${x},${y}`);
  await expect(lit(page)).toHaveAttribute('data-net', 'n1');
  const down = panel(page).getByRole('button', { name: '↓ Down' });
  const up = panel(page).getByRole('button', { name: '↑ Up' });
  await expect(down).toHaveAttribute('aria-disabled', 'true');
  for (const layer of ['via1', 'metal2', 'via2', 'metal3']) {
    await up.click();
    await expect(page.locator('[data-now="layer"]')).toHaveText(layer);
    await expect(panel(page).locator('[data-layers] button[aria-current]')).toContainText(layer);
  }
  await expect(up).toHaveAttribute('aria-disabled', 'true');
  // The view went along: metal3 of this net lies to the south-east of where it began.
  await expect
    .poll(() => page.evaluate(() => Number(new URLSearchParams(location.hash.slice(1)).get('y'))))
    .toBeLessThan(85);
});

test('ends are listed and lead there', async ({ page }) => {
  const [x, y] = centre('vdd', 'metal3');
  await open(page, x, y, 3.6, 8);
  await clickMiddle(page, 'drawing');
  await expect(panel(page).locator('[data-n="field"]')).toHaveText('leaves the field: it may go on outside');
  await expect(panel(page).getByRole('button', { name: /^metal4/ })).toContainText('not in this scan');
  await panel(page)
    .getByRole('button', { name: /^leaves the field/ })
    .click();
  await expect
    .poll(() => page.evaluate(() => Number(new URLSearchParams(location.hash.slice(1)).get('y'))))
    .toBeLessThan(80.5);
});

test('nets and cells are found by a part of their name', async ({ page }) => {
  await open(page, 104, 85);
  await page.locator('button[data-panel="nets"]').click();
  const search = panel(page).getByLabel('Find a net or a cell by name');
  await search.fill('count');
  await expect(panel(page).locator('[data-hits] button')).toHaveText([
    'count0 net',
    'COUNTER_BIT cell, 1 place',
  ]);
  await search.press('Enter');
  await expect(panel(page).getByRole('heading', { name: 'count0' })).toBeVisible();
  await expect(lit(page)).toHaveAttribute('data-net', 'n3');
  await panel(page)
    .getByRole('button', { name: /^COUNTER_BIT/ })
    .click();
  await expect(panel(page)).toContainText('COUNTER_BIT: place 1 of 1');
  await search.fill('no such name');
  await expect(panel(page)).toContainText('No net and no cell has this in its name.');
});

test('an address keeps the lit net by a place on it; putting it out takes it from the address', async ({
  page,
}) => {
  const [x, y] = centre('rst', 'metal1');
  await open(page, 107, 85, 2.2, 14, `&net=metal1@${x},${y}`);
  await expect(panel(page).getByRole('heading', { name: 'rst', exact: true })).toBeVisible();
  await panel(page).getByRole('button', { name: 'Put out' }).click();
  await expect.poll(() => page.evaluate(() => location.hash.includes('net='))).toBe(false);
  await expect(lit(page)).not.toHaveAttribute('data-net', /^n/);
});

test('a finding leads to its net, and the net to its findings', async ({ page }) => {
  await open(page, 104, 85, 1.2, 12, '&finding=F0002');
  await page.getByRole('button', { name: 'Light up the net rst' }).click();
  await expect(panel(page).getByRole('heading', { name: 'rst', exact: true })).toBeVisible();
  await panel(page).getByRole('button', { name: 'F0002 bridge' }).click();
  await expect(page.getByRole('heading', { name: 'F0002, bridge' })).toBeVisible();
});

test('nothing of the nets is fetched before somebody asks, but the index', async ({ page }) => {
  const asked: string[] = [];
  page.on('request', (request) => {
    const path = new URL(request.url()).pathname;
    if (/\/nets\//.test(path)) asked.push(path.replace(/^.*\/nets\//, ''));
  });
  await open(page, 104, 85);
  expect(asked).toEqual(['index.json']);
  expect(
    await page.evaluate(() => performance.getEntriesByType('resource').map((e) => e.name)),
  ).not.toContainEqual(expect.stringMatching(/\/nets\.json$/));
});
