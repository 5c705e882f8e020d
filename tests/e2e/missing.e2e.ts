/** The page for addresses that lead nowhere, at any depth. */
import { expect, test } from '@playwright/test';
import { BASE } from './support/port.ts';

for (const path of ['nowhere', 'scan/none/layer/x/', 'a/b/c/d/e']) {
  test(`/${path} says so and finds the way home`, async ({ page }) => {
    const answer = await page.goto(path);
    expect(answer?.status()).toBe(404);
    await expect(page.getByRole('heading', { name: 'No such page' })).toBeVisible();
    const home = page.getByRole('link', { name: 'Go to the front page' });
    await expect(home).toBeVisible();
    await home.click();
    await expect(page).toHaveURL(BASE);
  });
}
