import { defineConfig } from 'vitest/config';

export default defineConfig({
  test: {
    include: ['tests/{unit,oracles,architecture,render}/**/*.test.ts'],
    // Two workers: the suite must behave on a two-core machine; heavy tests say their own time limit.
    maxWorkers: 2,
    testTimeout: 20_000,
    hookTimeout: 60_000,
  },
});
