// npm test: installs what is needed, then types, lint, unit tests, oracles and end to end in a real browser.
import { existsSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { delimiter, dirname, join } from 'node:path';
import { findChromium, installPackages, installPeers, NODE, run } from './install.mjs';

installPackages();
installPeers();

const work = mkdtempSync(join(tmpdir(), 'stratafolio-test-'));
// Everything below runs on the pinned Node, whatever started this file.
const env = { ...process.env, PATH: `${dirname(NODE)}${delimiter}${process.env.PATH}` };
const tally = { passed: 0, failed: 0, skipped: 0 };

function check(name, args) {
  console.log(`\n--- ${name}`);
  const ok = run(NODE, args, { env }).status === 0;
  tally[ok ? 'passed' : 'failed']++;
  if (!ok) console.log(`${name}: failed`);
}

check('types', [join('node_modules', 'typescript', 'bin', 'tsc')]);
check('lint and format', [
  join('node_modules', '@biomejs', 'biome', 'bin', 'biome'),
  'ci',
  '--error-on-warnings',
  '--colors=off',
]);

console.log('\n--- unit tests and oracles');
const vitestReport = join(work, 'vitest.json');
const vitest = run(
  NODE,
  [
    join('node_modules', 'vitest', 'vitest.mjs'),
    'run',
    '--reporter=default',
    '--reporter=json',
    `--outputFile.json=${vitestReport}`,
  ],
  { env },
);
if (existsSync(vitestReport)) {
  const report = JSON.parse(readFileSync(vitestReport, 'utf8'));
  tally.passed += report.numPassedTests;
  tally.failed += report.numFailedTests;
  tally.skipped += report.numPendingTests + report.numTodoTests;
  // A file that cannot be loaded fails without a test that failed.
  if (vitest.status !== 0 && report.numFailedTests === 0) tally.failed++;
} else tally.failed++;

console.log('\n--- end to end');
if (findChromium()) {
  const browserReport = join(work, 'browser.json');
  const browser = run(
    NODE,
    [join('node_modules', '@playwright', 'test', 'cli.js'), 'test', '--reporter=list,json'],
    { env: { ...env, PLAYWRIGHT_JSON_OUTPUT_FILE: browserReport } },
  );
  if (existsSync(browserReport)) {
    const { stats } = JSON.parse(readFileSync(browserReport, 'utf8'));
    tally.passed += stats.expected + stats.flaky;
    tally.failed += stats.unexpected;
    if (stats.flaky > 0) console.log(`${stats.flaky} tests passed at the second try.`);
    tally.skipped += stats.skipped;
    if (browser.status !== 0 && stats.unexpected === 0) tally.failed++;
  } else tally.failed++;
} else {
  console.log('No Chromium was found and none could be installed: the tests in the browser are skipped.');
  console.log('Install it, or name one: STRATAFOLIO_CHROMIUM=/path/to/chromium npm test');
  tally.skipped++;
}

rmSync(work, { recursive: true, force: true });
console.log(`\n${tally.passed} passed, ${tally.failed} failed, ${tally.skipped} skipped`);
process.exit(tally.failed > 0 ? 1 : 0);
