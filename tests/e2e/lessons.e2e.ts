/** Lessons as a student does them: steps beside the viewer, marks, questions by mouse and by keyboard, presenting. */
import type { FrameLocator, Page } from '@playwright/test';
import { boxUm } from '../fixtures/folio/counter-facts.ts';
import { axeFaults, expect, test } from './support/page.ts';

const frameOf = (page: Page): FrameLocator => page.frameLocator('lesson-player iframe');
const ready = (page: Page) => expect(frameOf(page).locator('scan-viewer[data-ready]')).toBeAttached();

/** Clicks a die place in the image of the framed viewer, whose view the address tells. */
async function clickDie(page: Page, xUm: number, yUm: number): Promise<void> {
  const ground = frameOf(page).locator('.pane[data-view="image"] .ground');
  const box = (await ground.boundingBox())!;
  const at = await ground.evaluate(
    (_, die) => {
      const fields = new URLSearchParams(location.hash.slice(1));
      const number = (key: string): number => Number(fields.get(key));
      const scale = innerWidth > 0 ? 1 / number('w') : 0;
      return { dx: (die[0]! - number('x')) * scale, dy: (number('y') - die[1]!) * scale };
    },
    [xUm, yUm],
  );
  await page.mouse.click(box.x + box.width * (0.5 + at.dx), box.y + box.height / 2 + box.width * at.dy);
}

test('a step shows its place, its net and its marks in the viewer', async ({ page }) => {
  await page.goto('lessons/find/');
  await ready(page);
  const frame = frameOf(page);
  await expect(frame.locator('.pane[data-view="image"] .lesson-mark')).toHaveCount(2);
  await expect(frame.locator('scan-viewer')).toHaveAttribute('data-show', 'both');
  // Nothing else is marked: findings would give answers away.
  await expect(frame.locator('.finding-mark:visible')).toHaveCount(0);
  expect(await frame.locator('body').evaluate(() => location.hash)).toMatch(/x=106.45&y=85.5&w=14&.*net=/);
  // Words of the text point at their mark.
  await page.locator('button.pointing').hover();
  await expect(frame.locator('.pane[data-view="image"] .lesson-mark.pointed')).toHaveCount(1);
  await expect(frame.locator('.pane[data-view="image"] .pointed .lesson-label')).toBeVisible();
});

test('a click is told how far off it is, then that it is right', async ({ page }) => {
  await page.goto('lessons/find/');
  await ready(page);
  const question = page.locator('.lesson-step:not([hidden]) .question');
  await clickDie(page, 104, 85.5);
  await expect(question.locator('[data-said="wrong"]')).toBeVisible();
  await expect(question.locator('[data-way]')).toContainText('and to the right');
  await expect(question.locator('[data-act="reveal"]')).toBeHidden();
  await clickDie(page, 104, 86.5);
  await question.locator('[data-act="reveal"]').click();
  await expect(frameOf(page).locator('.pane[data-view="image"] .lesson-mark.answer')).toHaveCount(1);
  // The via of the drawing: its place is known by hand.
  const [x0, y0, x1, y1] = boxUm([124, 42, 134, 52]);
  await clickDie(page, (x0 + x1) / 2, (y0 + y1) / 2);
  await expect(question.locator('[data-said="right"]')).toBeVisible();
  await expect(question.locator('[data-said="wrong"]')).toBeHidden();
});

test('the keyboard answers with the middle of the view, and turns the steps', async ({ page }) => {
  await page.goto('lessons/find/');
  await ready(page);
  await page.locator('[data-act="middle"]').focus();
  await page.keyboard.press('Enter');
  await expect(page.locator('[data-said="wrong"]').first()).toBeVisible();
  await page.locator('[data-act="next"]').focus();
  await page.keyboard.press('Enter');
  await expect(page).toHaveURL(/#step-2$/);
  await expect(page.locator('#step-2-title')).toBeFocused();
  await expect(page.locator('#step-1')).toBeHidden();
  await page.goBack();
  await expect(page.locator('#step-1')).toBeVisible();
});

test('a choice and a depth are judged, and the name of the layer is not given away', async ({ page }) => {
  await page.goto('lessons/find/#step-2');
  await ready(page);
  const frame = frameOf(page);
  await expect(frame.locator('.now strong')).toBeHidden();
  await page.getByRole('button', { name: 'metal 1' }).click();
  await expect(page.locator('#step-2 [data-said="wrong"]').first()).toBeVisible();
  await page.getByRole('button', { name: 'poly' }).click();
  await expect(page.locator('#step-2 [data-said="right"]').first()).toContainText('The gates.');
  const depth = page.locator('#step-2 .question').nth(1);
  await depth.getByRole('button', { name: 'answer: here' }).click();
  await expect(depth.locator('[data-way]')).toHaveText('It lies higher up.');
  await frame.getByRole('slider').focus();
  for (let n = 0; n < 5; n++) await page.keyboard.press('PageUp');
  await depth.getByRole('button', { name: 'answer: here' }).click();
  await expect(depth.locator('[data-said]:visible')).toContainText(/There\.|lower down|higher up/);
});

test('presenting fills the page, turns by Page Down, and ends with Escape', async ({ page }) => {
  await page.goto('lessons/find/');
  await ready(page);
  await page.getByRole('button', { name: 'Present' }).click();
  const player = page.locator('lesson-player');
  await expect(player).toHaveClass(/presenting/);
  const size = await page
    .locator('.lesson-step:not([hidden]) p:not([class])')
    .first()
    .evaluate((p) => getComputedStyle(p).fontSize);
  expect(Number.parseFloat(size)).toBeGreaterThanOrEqual(20);
  expect(await axeFaults(page)).toEqual([]);
  await page.keyboard.press('PageDown');
  await expect(page.locator('#step-2')).toBeVisible();
  await page.keyboard.press('Escape');
  await expect(player).not.toHaveClass(/presenting/);
});

test('without scripts every step is there, with links to its places', async ({ browser }) => {
  const context = await browser.newContext({ javaScriptEnabled: false });
  const page = await context.newPage();
  await page.goto('lessons/find/');
  await expect(page.locator('.lesson-step')).toHaveCount(2);
  for (const step of await page.locator('.lesson-step').all()) await expect(step).toBeVisible();
  await expect(page.locator('.lesson-bar')).toBeHidden();
  await expect(page.getByRole('link', { name: 'This place in the viewer' }).first()).toHaveAttribute(
    'href',
    /scan\/counter\/#z=.*&net=metal1%40|scan\/counter\/#z=.*&net=/,
  );
  await context.close();
});

test('a frame for other pages is copied, and leads back to the same place', async ({ page, context }) => {
  await context.grantPermissions(['clipboard-read', 'clipboard-write']);
  await page.goto('scan/counter/#z=1.2&x=105&y=86&w=5&show=image');
  await expect(page.locator('scan-viewer[data-ready]')).toBeAttached();
  await page.getByText('Share', { exact: true }).click();
  await page.locator('[data-act="embed"]').click();
  const code = await page.evaluate(() => navigator.clipboard.readText());
  expect(code).toMatch(
    /^<iframe src="http:\/\/[^"]*scan\/counter\/embed\/#z=1\.2&amp;x=105&amp;y=86&amp;w=5/,
  );
  await page.setContent(`<main><h1>A course page</h1>${code}</main>`);
  const frame = page.frameLocator('iframe');
  await expect(frame.locator('scan-viewer[data-ready]')).toBeAttached();
  await frame.locator('[data-embed-out]').focus();
  await expect(frame.locator('[data-embed-out]')).toHaveAttribute('href', /scan\/counter\/#z=1\.2&x=105/);
  await expect(frame.locator('nav')).toHaveCount(0);
});
