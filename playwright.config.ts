import { defineConfig } from '@playwright/test';
import { CHROMIUM_FLAGS, findChromium } from './tests/e2e/support/chromium.ts';
import { BASE } from './tests/e2e/support/port.ts';

export default defineConfig({
  testDir: 'tests/e2e',
  testMatch: '**/*.e2e.ts',
  outputDir: 'tests/.work/e2e-results',
  globalSetup: './tests/e2e/support/global-setup.ts',
  fullyParallel: true,
  // Two at most: the suite has to behave on a machine with two cores.
  workers: process.env.CI ? 1 : 2,
  // A browser on a busy machine may miss a beat; a test that fails twice has a reason.
  retries: process.env.CI ? 1 : 0,
  forbidOnly: process.env.CI !== undefined,
  timeout: 45_000,
  expect: { timeout: 10_000 },
  reporter: [['list'], ['json', { outputFile: 'tests/.work/e2e-results.json' }]],
  use: {
    baseURL: BASE,
    browserName: 'chromium',
    viewport: { width: 1280, height: 800 },
    // A trace of every test costs a third of its time; the second try leaves one.
    trace: 'on-first-retry',
    launchOptions: { executablePath: findChromium(), args: CHROMIUM_FLAGS },
  },
});
