/**
 * Findings against the truth of simulated scans: recall and precision by kind, fill, opens and shorts, whether stated
 * probabilities hold and whether the rates of the self-test hold.
 * node tests/bench/findings.bench.ts [--chips demo,board,gf180,sram,tgl7] [--conditions plain,mirrored] [--seeds 1,2]
 *   [--side 300] [--automatic] [--keep FOLDER] [--each] [--no-selftest]
 * The real layouts are looked for in ../shared/data; where they are absent only the demo's drawing is imaged.
 */
import { existsSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { performance } from 'node:perf_hooks';
import { parseArgs } from 'node:util';
import { compareScan } from '../../pipeline/stages/compare/compare-scan.ts';
import { shapesLeavingField } from '../../pipeline/stages/connect/field.ts';
import { judgeNets } from '../../pipeline/stages/connect/judge-nets.ts';
import { traceWindow } from '../../pipeline/stages/connect/trace-window.ts';
import { gridBoxUm } from '../../shared/frames.ts';
import { CHIPS, CONDITIONS, caseName, DATA, prepareScan, type ScanCase } from './findings-scans.ts';
import { scoreFindings } from './findings-score.ts';
import { Tables } from './findings-tables.ts';
import { machine } from './harness.ts';

const { values } = parseArgs({
  options: {
    chips: { type: 'string', default: 'demo,board,gf180,sram' },
    conditions: { type: 'string', default: 'plain' },
    seeds: { type: 'string', default: '1' },
    side: { type: 'string', default: '300' },
    automatic: { type: 'boolean', default: false },
    keep: { type: 'string' },
    each: { type: 'boolean', default: false },
    'no-selftest': { type: 'boolean', default: false },
    notes: { type: 'boolean', default: false },
  },
});
const keep = values.keep ? resolve(values.keep) : mkdtempSync(join(tmpdir(), 'stratafolio-findings-'));
const tables = new Tables();
console.log(machine());
try {
  for (const chip of values.chips.split(',')) {
    if (chip !== 'demo' && chip !== 'tgl7' && !existsSync(DATA)) {
      console.log(`${chip}: skipped, no layouts in ../shared/data`);
      continue;
    }
    for (const condition of values.conditions.split(','))
      for (const seed of values.seeds.split(',').map(Number)) {
        if (!CHIPS[chip] || !CONDITIONS[condition]) throw new Error(`unknown: ${chip} or ${condition}`);
        const placement = values.automatic ? 'automatic' : 'landmarks';
        await run({ chip, condition, seed, side: Number(values.side), placement });
      }
  }
} finally {
  if (!values.keep) rmSync(keep, { recursive: true, force: true });
}
console.log(tables.print());

async function run(wanted: ScanCase): Promise<void> {
  const scan = await prepareScan(wanted, keep);
  const { layout, top } = scan.layout;
  const process = scan.loaded.process!;
  const from = performance.now();
  const traced = traceWindow(layout, top, process, gridBoxUm(scan.grid));
  const outcome = await compareScan({
    ...{ layout, top, process, placement: scan.placement, layers: scan.layers, grid: scan.grid },
    portraits: scan.portraits,
    netsAt: (layer, boxUm) => traced.drawn.netsAt(layer, boxUm),
    selfTest: !values['no-selftest'],
    threads: 2,
  });
  const seconds = (performance.now() - from) / 1000;
  const portraits = new Map(scan.portraits.map((p) => [p.name, p.values]));
  const leaving = shapesLeavingField(traced.drawn.store, scan.grid, (name) => portraits.get(name));
  const nets = judgeNets(traced, outcome.findings, scan.placement, (n) => leaving[n] === 1);
  const score = scoreFindings(scan, outcome);
  const name = caseName(wanted);
  tables.addSelfTest(name, scan, score, outcome);
  tables.add(wanted, score, outcome, nets, seconds);
  console.log(
    `${name}: ${scan.placement.verdict}, ${score.hits.length} of ${score.hits.length + score.missed.length} found` +
      `${score.unjudged.length > 0 ? ` (${score.unjudged.length} not judged)` : ''}, ${score.false.length} false, fill ` +
      `${score.fill.recognised} of ${score.fill.made} (${score.fill.asFinding} as findings), ` +
      `${nets.opens.length} opens, ${nets.shorts.length} shorts, ${seconds.toFixed(1)} s`,
  );
  if (values.each) {
    for (const fault of score.missed)
      console.log(`  missed ${fault.kind} on ${fault.layer} at ${fault.box_um.map((v) => v.toFixed(2))}`);
    for (const { fault, findings } of score.hits)
      if (!findings.some((f) => f.kind === fault.kind))
        console.log(`  ${fault.kind} on ${fault.layer} called ${findings.map((f) => f.kind)}`);
    for (const f of score.false) console.log(`  false: ${f.note}`);
    for (const doubt of outcome.findings.doubts) console.log(`  doubt: ${doubt}`);
  }
  if (values.notes) {
    for (const f of outcome.findings.findings) console.log(`  ${f.note}`);
    for (const f of [...nets.opens, ...nets.shorts]) console.log(`  ${f.note}`);
    for (const d of nets.doubts) console.log(`  nets: ${d}`);
  }
}
