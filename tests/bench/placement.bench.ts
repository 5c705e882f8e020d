/**
 * Automatic placement over a seeded grid of conditions: simulated scans of real layouts, placed with nothing known but
 * a wide region, and held against what they were made from.
 * node tests/bench/placement.bench.ts [--runs 20] [--from 1] [--keep FOLDER] [--log FILE] [--without LAYOUT]
 * node tests/bench/placement.bench.ts --table FILE,FILE   the table of runs that were logged
 */
import { appendFileSync, existsSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { parseArgs } from 'node:util';
import { machine } from './harness.ts';
import { type Case, drawCase } from './placement-cases.ts';
import { type Outcome, runCase } from './placement-run.ts';
import { placementTable } from './placement-table.ts';

const { values } = parseArgs({
  options: {
    runs: { type: 'string', default: '20' },
    from: { type: 'string', default: '1' },
    keep: { type: 'string' },
    log: { type: 'string' },
    without: { type: 'string' },
    table: { type: 'string' },
  },
});
if (values.table) {
  const lines = values.table.split(',').flatMap((file) => readFileSync(resolve(file), 'utf8').split('\n'));
  console.log(placementTable(lines.filter((line) => line).map((line) => JSON.parse(line) as Outcome)));
  process.exit(0);
}
const data = resolve(import.meta.dirname, '../../../shared/data');
if (!existsSync(data)) {
  console.log('The open layouts (../shared/data) are not here: nothing to place.');
  process.exit(0);
}
const folder = values.keep ? resolve(values.keep) : mkdtempSync(join(tmpdir(), 'placement-'));
console.log(machine());
const outcomes: Outcome[] = [];
for (let seed = Number(values.from); seed < Number(values.from) + Number(values.runs); seed++) {
  const drawn: Case = drawCase(seed, data);
  if (drawn.layout === values.without) continue;
  const outcome = await runCase(drawn, folder, values.keep !== undefined);
  outcomes.push(outcome);
  if (values.log) appendFileSync(resolve(values.log), `${JSON.stringify(outcome)}\n`);
  const { evidence: e } = outcome;
  console.log(
    `${String(seed).padStart(4)} ${outcome.case.kind.padEnd(8)} ${drawn.layout.padEnd(22)} cnr ${drawn.cnr.toFixed(1)} ` +
      `${outcome.verdict.padEnd(9)} ${outcome.right ? 'right' : 'WRONG'} off ${outcome.planeVoxels.toFixed(2)}/` +
      `${outcome.depthVoxels.toFixed(2)} score ${e.score.toFixed(2)} decoys ${e.aboveDecoys.toFixed(1)} rival ` +
      `${e.rival.toFixed(2)} over ${e.overRival.toFixed(1)} agree ${e.agreeing.toFixed(2)} least ${e.leastGroup.toFixed(2)} ` +
      `${outcome.bent ? 'bent ' : ''}sigma ${outcome.middleVoxels
        .map((v, n) => (v / (outcome.uncertaintyVoxels?.[n] ?? Number.NaN)).toFixed(1))
        .join(
          ' ',
        )} faces ${(outcome.facesVoxels.reduce((s, v) => s + v, 0) / outcome.facesVoxels.length).toFixed(2)} ` +
      `plates ${outcome.plates.join('/')} ${outcome.cpuSeconds.toFixed(0)} s of processor`,
  );
}
console.log(placementTable(outcomes));
if (!values.keep) rmSync(folder, { recursive: true });
